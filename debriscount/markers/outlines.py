"""Dark quadrilaterals in a photo that may be markers, placed coarsely."""

from collections.abc import Iterator
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

#: Copies of a photo are searched from a quarter of its size to its own.
REDUCTIONS = (4, 2, 1)
#: Short side that a copy must have: a smaller one holds too little.
LEAST_COPY_PX = 450
#: Mean distance between the corners of two outlines, as a share of their length, below which they are one. A sheet's
#: rim lies 1.2 modules or more outside the black square, 0.07 of its outline, and must not stand for it.
ONE_OUTLINE = 0.05
#: Shortest side of an outline, in pixels of the copy: a marker's modules are then 1.5 px wide, and come out only on a
#: larger copy.
LEAST_SIDE_PX = 9


@dataclass(frozen=True, slots=True, eq=False)
class Outline:
    """A quadrilateral: its corners clockwise, shape (4, 2), and by how much they may be off; px of the photo.

    ``id`` is the marker that it is read as, whose own top left is then the first corner, or None.
    """

    corners_px: Floats
    off_px: float
    id: int | None


def outlines(grey: NDArray[np.uint8]) -> Iterator[list[Outline]]:
    """Outlines found in copies of a photo, from the smallest copy to the photo itself.

    Parameters
    ----------
    grey : ndarray of uint8, shape (H, W)
        The photo.

    Yields
    ------
    list of Outline
        Those of one copy, those that are read as markers first.
    """
    for reduction in REDUCTIONS:
        if reduction > 1 and min(grey.shape) / reduction < LEAST_COPY_PX:
            continue
        copy = cv2.resize(grey, None, fx=1 / reduction, fy=1 / reduction, interpolation=cv2.INTER_AREA)
        parameters = cv2.aruco.DetectorParameters()
        parameters.minMarkerPerimeterRate = 4 * LEAST_SIDE_PX / max(copy.shape)
        parameters.minMarkerDistanceRate = ONE_OUTLINE
        dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
        read, ids, unread = cv2.aruco.ArucoDetector(dictionary, parameters).detectMarkers(copy)
        numbers = [] if ids is None else [int(n) for n in np.ravel(ids)]
        named = list(zip(read, [*numbers], strict=True)) + [(quad, None) for quad in unread]
        # A pixel of the copy is centred between pixels of the photo; corners are good to about half a pixel of it.
        yield [
            Outline((np.reshape(quad, (4, 2)).astype(float) + 0.5) * reduction - 0.5, 0.5 + 0.5 * reduction, number)
            for quad, number in named
        ]
