"""From grains to figures: zones, pickup, its uncertainty, and whether it may be trusted."""
