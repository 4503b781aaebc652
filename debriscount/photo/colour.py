"""Between the photo's sRGB values and light: the sRGB transfer curve, CIELAB, and pictures without colour.

References
----------
.. [1] IEC 61966-2-1:1999, sRGB colour space: the transfer curve with its knee at 0.04045.
.. [2] CIE 15:2004, colorimetry: L*a*b* for the D65 white point.
"""

from functools import cache

import cv2
import numpy as np
from numpy.typing import NDArray

from ..arrays import Floats


def srgb_to_linear(encoded: NDArray[np.floating]) -> Floats:
    """Linear light, 0 to 1, from encoded sRGB values, 0 to 1 [IEC 61966-2-1]; any shape."""
    v = np.asarray(encoded, float)
    return np.where(v <= 0.04045, v / 12.92, ((np.maximum(v, 0) + 0.055) / 1.055) ** 2.4)


def linear_to_srgb(linear: NDArray[np.floating]) -> Floats:
    """Encoded sRGB values, 0 to 1, from linear light, clipped to 0 to 1; any shape."""
    v = np.clip(np.asarray(linear, float), 0, 1)
    return np.asarray(np.where(v <= 0.0031308, v * 12.92, 1.055 * v ** (1 / 2.4) - 0.055))


@cache
def _linear_table() -> NDArray[np.float32]:
    return srgb_to_linear(np.arange(256) / 255).astype(np.float32)


def linear_pixels(pixels: NDArray[np.uint8]) -> NDArray[np.float32]:
    """Linear light of 8-bit sRGB pixels, same shape, float32, by table."""
    return np.asarray(cv2.LUT(pixels, _linear_table()), np.float32)


@cache
def _level_table() -> NDArray[np.uint16]:
    return np.round(65535 * srgb_to_linear(np.arange(256) / 255)).astype(np.uint16)


def linear_levels(pixels: NDArray[np.uint8]) -> NDArray[np.uint16]:
    """Linear light of 8-bit sRGB pixels, same shape, in 65535 levels: half the memory of `linear_pixels`.

    The darkest value above black is level 20, so that levels are as fine as a photo wants.
    """
    return np.asarray(cv2.LUT(pixels, _level_table()), np.uint16)


def from_levels(levels: NDArray[np.uint16]) -> NDArray[np.float32]:
    """Linear light, 0 to 1, of such levels; same shape."""
    return np.multiply(levels, np.float32(1 / 65535), dtype=np.float32)


@cache
def _encoded_table() -> NDArray[np.uint8]:
    return np.round(255 * linear_to_srgb(np.arange(65536) / 65535)).astype(np.uint8)


def srgb_pixels(linear: NDArray[np.float32]) -> NDArray[np.uint8]:
    """8-bit sRGB pixels of linear light, same shape, clipped; by a 16-bit table."""
    index = np.clip(linear * np.float32(65535) + np.float32(0.5), 0, 65535).astype(np.uint16)
    return np.asarray(_encoded_table().take(index))


#: Shares of the channels.
_LUMINANCE = 0.2126, 0.7152, 0.0722


def luminance(linear: NDArray[np.floating]) -> NDArray[np.floating]:
    """Relative luminance Y of linear sRGB, shape (..., 3) to (...) [IEC 61966-2-1]."""
    return linear @ np.array(_LUMINANCE, linear.dtype)


def luminance_view(linear: NDArray[np.float32]) -> NDArray[np.float32]:
    """The same of a picture of shape (H, W, 3), several times as quick."""
    return np.asarray(cv2.transform(linear, np.array([_LUMINANCE], np.float32)), np.float32)


def linear_to_lab(linear: NDArray[np.floating]) -> Floats:
    """CIELAB (D65) of linear sRGB, shape (..., 3) [CIE 15]."""
    from skimage.color import rgb2lab

    return np.asarray(rgb2lab(linear_to_srgb(linear)))


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
