"""Printed squares in a photo: found, read, their corners, and which of them lie as the patch file says."""
