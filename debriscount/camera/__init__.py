"""The camera: its lens and where it stood, fitted to markers or learned from photos of a board."""
