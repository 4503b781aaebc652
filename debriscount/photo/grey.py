"""Pictures without colour."""

import numpy as np
from numpy.typing import NDArray

from .colour import linear_pixels, luminance, srgb_pixels

#: A look at every so many pixels each way decides almost always; only where it sees no colour, all are looked at.
_EVERY = 16


def is_grey(pixels: NDArray[np.uint8]) -> bool:
    """Whether the three channels of pixels, shape (H, W, 3), are equal everywhere."""
    return _no_colour(pixels[::_EVERY, ::_EVERY]) and _no_colour(pixels)


def grey_pixels(pixels: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Pixels of shape (H, W, 3) as grey of the same relative luminance [IEC 61966-2-1], channels equal."""
    grey = srgb_pixels(luminance(linear_pixels(pixels)).astype(np.float32))
    return np.repeat(grey[..., None], 3, axis=2)


def _no_colour(pixels: NDArray[np.uint8]) -> bool:
    red, green, blue = np.moveaxis(pixels, -1, 0)
    return np.array_equal(red, green) and np.array_equal(green, blue)
