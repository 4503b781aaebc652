"""Whether the markers lie where the patch file says."""

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from .view import FloorToPhoto, undistort


@dataclass(frozen=True, slots=True)
class Misplaced:
    """A marker that lies elsewhere than the patch file says, and how far, mm."""

    id: int
    off_mm: float


def misplaced_marker(
    ids: Sequence[int], floor_mm: NDArray[np.float64], photo_px: NDArray[np.float64], view: FloorToPhoto
) -> Misplaced | None:
    """Find the one marker that the others disagree with.

    Parameters
    ----------
    ids : sequence of int
        Markers seen, at least four for an answer.
    floor_mm, photo_px : ndarray of shape (4 len(ids), 2)
        Their corners by the patch file and in the photo.
    view : FloorToPhoto
        The photo's fitted view; its lens term is kept.

    Returns
    -------
    Misplaced or None
        None unless leaving one marker out makes the rest agree three times better: a fit to all of them
        shares the error of one out among the others, so their residuals alone do not tell which it is.
    """
    if len(ids) < 4:
        return None
    flat = undistort(photo_px, np.array(view.center_px), view.focal_px, view.k1)
    everyone = np.ones(len(flat), bool)
    rms_of_all = _agreement(floor_mm, flat, everyone)[0]
    best: tuple[float, int, float] | None = None
    for k, number in enumerate(ids):
        others = everyone.copy()
        others[4 * k : 4 * k + 4] = False
        rms, off = _agreement(floor_mm, flat, others)
        if best is None or rms < best[0]:
            best = rms, number, float(np.hypot(*off[~others].mean(axis=0)))
    assert best is not None
    return Misplaced(best[1], best[2]) if rms_of_all > 3 * best[0] else None


def _agreement(
    floor_mm: NDArray[np.float64], flat_px: NDArray[np.float64], used: NDArray[np.bool_]
) -> tuple[float, NDArray[np.float64]]:
    """Root mean square residual of the corners used, mm, and the residuals of all of them."""
    homography, _ = cv2.findHomography(flat_px[used], floor_mm[used])
    off = cv2.perspectiveTransform(flat_px[None], homography)[0] - floor_mm
    return float(np.sqrt((off[used] ** 2).sum(axis=1).mean())), np.asarray(off, float)
