"""Statistics that every stage may use: numbers with their uncertainty, fits, shares, robust scatter."""
