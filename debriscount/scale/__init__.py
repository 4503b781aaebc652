"""What the scale says: weighings, their balance, pickup by scale, and whether photo and scale agree."""
