"""Joints of the floor: long, straight and thin, as no debris is."""

import cv2
import numpy as np
from numpy.typing import NDArray

from .floor import disc

#: Length from which a straight thin thing is a joint of the floor, in large grains: longer than two long grains end to
#: end.
LONG = 5.0


def floor_joints(mask: NDArray[np.bool_], grain_px: float, widest_px: float) -> NDArray[np.bool_]:
    """Joints between tiles and planks: straight for LONG grains and nowhere wider than ``widest_px``.

    Parameters
    ----------
    mask : ndarray of bool, shape (H, W)
        What may be debris.
    grain_px : float
        Diameter of a large grain.
    widest_px : float
        Width from which a thing is no joint.

    Returns
    -------
    ndarray of bool, shape (H, W)
    """
    # Six pixels a grain show a joint; one narrower than a reduced pixel still fills a third of it.
    factor = max(1, int(grain_px / 6))
    size = (mask.shape[1] // factor, mask.shape[0] // factor)
    small = (cv2.resize(mask.astype(np.float32), size, interpolation=cv2.INTER_AREA) > 0.3).astype(np.uint8)
    half = max(2, round(LONG * grain_px / factor / 2))
    lines = np.zeros_like(small)
    # Joints are some pixels wide, so that a line a few degrees aslant still lies in one.
    for angle in np.arange(0, 180, 15):
        x, y = (round(half * float(f(np.deg2rad(angle)))) for f in (np.cos, np.sin))
        kernel = np.zeros((2 * half + 1, 2 * half + 1), np.uint8)
        cv2.line(kernel, (half - x, half - y), (half + x, half + y), (1,))
        lines |= np.asarray(cv2.morphologyEx(small, cv2.MORPH_OPEN, kernel), np.uint8)
    wide = np.asarray(cv2.morphologyEx(small, cv2.MORPH_OPEN, disc(max(1, round(0.5 * widest_px / factor)))), np.uint8)
    thin = cv2.dilate(lines & (1 - wide), disc(1))
    return np.asarray(cv2.resize(thin, (mask.shape[1], mask.shape[0]), interpolation=cv2.INTER_NEAREST) > 0)
