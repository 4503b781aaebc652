"""Photographs of weighed portions: what a kind of debris weighs per area seen and per grain, and how it crowds."""
