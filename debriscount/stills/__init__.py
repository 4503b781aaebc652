"""Pictures and a clip for a film, in the film's own shape."""
