"""How much of every floor pixel each kind of debris hides."""
