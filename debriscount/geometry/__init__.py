"""From the photo's pixels to places on the floor: markers, plane, lens, floor view, alignment."""
