"""What to test next: how much debris, how many runs, in which order, and a sheet to work through."""
