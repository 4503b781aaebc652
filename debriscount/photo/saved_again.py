"""Whether two photos are one: the same picture saved again, in other compression or size."""

import cv2
import numpy as np
from numpy.typing import NDArray

from ..arrays import Floats
from .read import Photo

#: Side of the middle part that is compared, px: a million pixels tell noise to a hundredth of itself.
PART_PX = 1024
#: What is left between two photos once one is rounded as the other's file was, over what was between them. A picture
#: saved again leaves little but the rounding of colours (0.2 to 0.84 of rendered photos at qualities of 30 to 95); two
#: photos differ by their noise, which stays (0.995 to 1.005).
LEFT = 0.9
#: Levels of 255 within which a smaller copy agrees with its original at nearly all places once both are smoothed:
#: resampling and compression left up to 8 in rendered photos, grains that went 27 or more.
ALIKE_LEVELS, NEARLY_ALL, SMOOTHED_PX = 12.0, 99.9, 2.0


def same_picture(one: Photo, other: Photo) -> bool:
    """Whether two photos are one file or equal pixel by pixel."""
    same_file = bool(one.sha256) and one.sha256 == other.sha256
    if same_file or one.pixels.shape != other.pixels.shape:
        return same_file
    some = np.s_[:: one.pixels.shape[0] // 8]  # a few rows tell two photos apart at once
    return np.array_equal(one.pixels[some], other.pixels[some]) and np.array_equal(one.pixels, other.pixels)


def saved_again(one: Photo, other: Photo) -> bool:
    """Whether one photo is the other saved again.

    Parameters
    ----------
    one, other : Photo
        Upright, with the same things at the same places: the caller knows from the markers.

    Notes
    -----
    A JPEG holds its picture in multiples of its quantisation steps (ITU-T T.81). If the one picture, rounded to the
    steps of the other's file, is the other, the other was made of it. Two photos from a stand differ by the noise of
    both, whatever they are rounded to; only where one is compressed so much more that no noise is left in it, and
    nothing came or went, do they pass for one. Where the sizes differ, smoothed pictures are compared.
    """
    if one.pixels.shape != other.pixels.shape:
        return _smaller_copy(one.pixels, other.pixels)
    a, b = _middle_luma(one.pixels), _middle_luma(other.pixels)
    apart = _rms(a - b)
    if apart == 0:
        return bool(np.array_equal(one.pixels, other.pixels))
    rounded = [
        _rms(_rounded(x, photo.jpeg_steps[0]) - y)
        for x, y, photo in ((a, b, other), (b, a, one))
        if photo.jpeg_steps is not None
    ]
    return min(rounded, default=apart) < LEFT * apart


def _middle_luma(pixels: NDArray[np.uint8]) -> NDArray[np.float32]:
    """Luma of the middle part, its sides multiples of a JPEG's blocks (ITU-T T.871)."""
    rows, columns = (_middle(size) for size in pixels.shape[:2])
    part = pixels[rows, columns].astype(np.float32)
    return np.asarray(part @ np.array([0.299, 0.587, 0.114], np.float32))


def _middle(size: int) -> slice:
    length = min(size, PART_PX) // 8 * 8
    start = (size - length) // 2 // 8 * 8
    return slice(start, start + length)


def _rounded(luma: NDArray[np.float32], steps: Floats) -> NDArray[np.float32]:
    """What a JPEG of these quantisation steps keeps of luma, shape (8 M, 8 N)."""
    k = np.arange(8)
    cosines = np.sqrt(2 / 8) * np.cos(np.pi * (2 * k + 1) * k[:, None] / 16)
    cosines[0] /= np.sqrt(2)
    rows, columns = luma.shape[0] // 8, luma.shape[1] // 8
    blocks = luma.reshape(rows, 8, columns, 8).transpose(0, 2, 1, 3) - 128.0
    kept = np.round(cosines @ blocks @ cosines.T / steps) * steps
    back = (cosines.T @ kept @ cosines + 128.0).transpose(0, 2, 1, 3).reshape(luma.shape)
    return np.asarray(np.clip(back, 0, 255), np.float32)


def _smaller_copy(one: NDArray[np.uint8], other: NDArray[np.uint8]) -> bool:
    small, large = sorted((one, other), key=lambda pixels: pixels.size)
    height, width = small.shape[:2]
    if abs(large.shape[0] / height - large.shape[1] / width) > large.shape[0] / height**2:
        return False
    again = cv2.resize(large, (width, height), interpolation=cv2.INTER_AREA)
    smooth = [cv2.GaussianBlur(p.astype(np.float32), (0, 0), SMOOTHED_PX) for p in (small, again)]
    return float(np.percentile(np.abs(smooth[0] - smooth[1]), NEARLY_ALL)) < ALIKE_LEVELS


def _rms(values: NDArray[np.floating]) -> float:
    return float(np.sqrt(np.mean(np.square(values))))
