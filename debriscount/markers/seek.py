"""Look for a marker where the others say that it lies: partly covered, glossy or in a shadow's edge."""

import cv2
import numpy as np
from numpy.typing import NDArray

from ..arrays import Floats
from ..inputs.patch import Marker
from .edges import light_crop
from .find_markers import SeenMarker, seen_marker
from .modules import READ, pattern, read_marker
from .square import MODULES, fit_square, side_px

#: Samples a module in the picture that is searched.
_FINE = 4
#: Least correlation between what is found and the marker: half of it may be covered.
LEAST_LIKE = 0.4
#: A marker's modules that may be other than they should be, of 16 of the code and of 64 in all, where its number and
#: its place are known beforehand. Another marker differs in four of the code or more, and is told by fitting better.
WRONG_CODE, WRONG = 4, 22
#: Share of the code that must be made of the paper around the square and of the black of its border.
PRINTED = 0.5


def seek_marker(pixels: NDArray[np.uint8], marker: Marker, to_photo: Floats, reach_mm: float) -> SeenMarker | None:
    """Look for a marker near where it should be.

    Parameters
    ----------
    pixels : ndarray of uint8, shape (H, W, 3)
        sRGB photo.
    marker : Marker
        Which, and where on the floor.
    to_photo : ndarray of shape (3, 3)
        Homography from the floor, mm, to pixels, about right.
    reach_mm : float
        How far from its place it may seem to lie.

    Returns
    -------
    SeenMarker or None
        None unless enough of it is seen.
    """
    floor_mm = _best_place(pixels, marker, to_photo, reach_mm)
    if floor_mm is None:
        return None
    corners = cv2.perspectiveTransform(floor_mm[None], to_photo)[0].astype(float)
    module = side_px(corners) / MODULES
    # It may lie a module off, has a module of white rim, and half of one to spare.
    crop = light_crop(pixels, corners, 2.5 * module + 4)
    square = fit_square(crop, corners, module / 2)
    if square is None:
        return None
    reading = read_marker(crop, square.corners_px, {marker.id})
    if reading.turns or reading.printed < PRINTED or reading.code > WRONG_CODE or reading.wrong > WRONG:
        return None
    if reading.code > 1:
        # Against all fifty of the dictionary.
        likeliest = read_marker(crop, square.corners_px, range(50))
        if (likeliest.id, likeliest.turns) != (marker.id, 0):
            return None
    return seen_marker(crop, square, reading)


def _best_place(pixels: NDArray[np.uint8], marker: Marker, to_photo: Floats, reach_mm: float) -> Floats | None:
    """Corners on the floor, mm, where the photo is most like the marker; None where nothing is like it."""
    step = marker.side_mm / MODULES / _FINE
    half = READ * _FINE // 2 + int(np.ceil(reach_mm / step))
    along = (np.arange(2 * half) - half + 0.5) * step
    floor = np.stack(np.meshgrid(along, along), axis=-1) + marker.center_mm
    places = cv2.perspectiveTransform(floor.reshape(1, -1, 2), to_photo).reshape(floor.shape)
    low = np.maximum(np.floor(places.min(axis=(0, 1))).astype(int) - 2, 0)
    high = np.minimum(np.ceil(places.max(axis=(0, 1))).astype(int) + 3, pixels.shape[1::-1])
    if (high - low < MODULES).any():
        return None
    grey = cv2.cvtColor(np.ascontiguousarray(pixels[low[1] : high[1], low[0] : high[0]]), cv2.COLOR_RGB2GRAY)
    width = max(1, round(float(np.linalg.norm(places[half, half] - places[half, half - 1]))))
    local = (places - low).astype(np.float32)
    seen = cv2.remap(cv2.blur(grey, (width, width)), local[..., 0], local[..., 1], cv2.INTER_LINEAR)
    print_ = np.kron(pattern(marker.id), np.full((_FINE, _FINE), 255)).astype(np.uint8)
    like = cv2.matchTemplate(seen, print_, cv2.TM_CCOEFF_NORMED)
    row, column = np.unravel_index(int(like.argmax()), like.shape)
    if like[row, column] < LEAST_LIKE:
        return None
    middle = (np.array([column, row]) + print_.shape[0] / 2 - half) * step
    return np.asarray(marker.corners_mm() + middle)
