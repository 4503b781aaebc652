"""Made-up scenes whose truth is known: a floor, debris, a machine that cleans it, and photos of all that."""
