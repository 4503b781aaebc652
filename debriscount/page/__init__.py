"""A page of runs: one file that shows what was found, opens offline, and holds the data for others to check."""
