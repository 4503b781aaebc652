"""Files that a person writes: the patch of floor and the kinds of debris."""
