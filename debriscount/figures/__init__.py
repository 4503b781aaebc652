"""From grains to figures: zones, pickup, and the run as a whole."""
