"""Where the markers of a patch are to lie, whether that can work, and the sheets to print them at true size."""
