"""Where the machine acted, and the places that it missed."""
