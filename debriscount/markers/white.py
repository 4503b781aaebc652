"""What white looks like in a photo: the paper around the printed squares."""

from collections.abc import Iterable

import cv2
import numpy as np
from numpy.typing import NDArray

from ..arrays import Floats
from ..photo.colour import linear_pixels

#: The quiet zone around a black square is at least a module wide, a sixth of its side on each side; its middle is
#: clear of the square's blurred edge and of the cut. As factors of the square's side.
RING = (1.10, 1.24)
#: Fewest pixels of paper whose median is taken.
FEWEST = 30


def paper_colour(pixels: NDArray[np.uint8], squares_px: Iterable[Floats]) -> Floats | None:
    """Linear colour of the paper around printed squares.

    Parameters
    ----------
    pixels : ndarray of uint8, shape (H, W, 3)
        sRGB photo.
    squares_px : iterable of ndarray, each of shape (4, 2)
        Corners of the black squares in the photo.

    Returns
    -------
    ndarray of shape (3,) or None
        Median over the squares of each one's median; None if none shows enough paper.
    """
    rings = [ring_colour(pixels, corners, *RING) for corners in squares_px]
    seen = [colour for colour in rings if colour is not None]
    return np.median(np.array(seen, float), axis=0) if seen else None


def ring_colour(pixels: NDArray[np.uint8], corners: Floats, inner: float, outer: float) -> Floats | None:
    """Median linear colour, shape (3,), of the ring between two copies of a square; None where too little is seen.

    ``corners`` of shape (4, 2) are the square's in the photo, ``inner`` and ``outer`` its factors.
    """
    centre = corners.mean(axis=0)
    far, near = (centre + (corners - centre) * factor for factor in (outer, inner))
    low = np.maximum(np.floor(far.min(axis=0)).astype(int), 0)
    high = np.minimum(np.ceil(far.max(axis=0)).astype(int) + 1, (pixels.shape[1], pixels.shape[0]))
    if (high <= low).any():
        return None
    ring = np.zeros((high[1] - low[1], high[0] - low[0]), np.uint8)
    cv2.fillConvexPoly(ring, np.round(far - low).astype(np.int32), (1,))
    cv2.fillConvexPoly(ring, np.round(near - low).astype(np.int32), (0,))
    if int(ring.sum()) < FEWEST:
        return None
    # Encoded values have the order that light has, and of 256 of them each tells how many lie below it.
    crop = np.ascontiguousarray(pixels[low[1] : high[1], low[0] : high[0]])
    counts = (np.asarray(cv2.calcHist([crop], [c], ring, [256], (0, 256)), float) for c in range(3))
    return np.asarray([_median_light(those.ravel()) for those in counts])


def _median_light(counts: Floats) -> float:
    """Median linear light of sRGB values that are counted, shape (256,)."""
    below = np.cumsum(counts)
    middle = np.searchsorted(below, [below[-1] / 2, below[-1] / 2 + 0.5]).astype(np.uint8)
    return float(linear_pixels(middle).mean())
