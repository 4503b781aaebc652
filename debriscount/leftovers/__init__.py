"""Why debris stayed: what the machine never met, what it only moved, and the pattern of its path."""
