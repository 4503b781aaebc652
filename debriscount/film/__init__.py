"""Debris left against time, from a film of the machine at work."""
