"""Campaigns: a folder of runs that belong together, with what they have in common written down once."""
