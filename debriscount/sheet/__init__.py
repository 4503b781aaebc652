"""The markers of a patch to print at true size, and a sketch of where they lie."""
