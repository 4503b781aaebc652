"""Parallel lanes, told from the strips that were left between them."""
