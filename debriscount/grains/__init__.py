"""From cover to single grains."""
