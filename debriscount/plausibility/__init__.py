"""Whether photos and debris files can be what they are given for: mix-ups, foreign things, shots unlike the others."""
