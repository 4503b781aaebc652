"""Grain size where no debris file gives it: from what two shots do not share."""

import cv2
import numpy as np
from numpy.typing import NDArray

from .colours import APART
from .discriminant import SHADE, departure
from .light import stiff_gain
from .noise import FloorNoise, learn_noise, sigma_map


def guess_size(
    view: NDArray[np.float32], other: NDArray[np.float32], usable: NDArray[np.bool_]
) -> tuple[float, float] | None:
    """5th and 95th percentile of grain diameter, px, or None where the shots hardly differ.

    Parameters
    ----------
    view, other : ndarray of float32, shape (H, W, 3)
        Floor views of *before* and of a shot with less debris, linear light.
    usable : ndarray of bool, shape (H, W)
        Floor seen in both.

    Notes
    -----
    Spots that stand apart surely are measured by their area. Touching grains make one large spot, so
    the middle of the lower half of the spots, weighted by area, is taken for the usual grain, and a
    usual spread of a third to either side is given to it.
    """
    matched = view * stiff_gain(view, other, usable)
    model = learn_noise(matched - other, other, usable)
    departing = departure(matched, other, FloorNoise(sigma_map(model, other), np.eye(3)), SHADE)
    apart = ((departing > 1.5 * APART) & usable).astype(np.uint8)
    count, _, stats, _ = cv2.connectedComponentsWithStats(apart, connectivity=8)
    areas = np.sort(stats[1:, cv2.CC_STAT_AREA].astype(float))
    if count < 4 or areas.sum() < 50:
        return None
    share = np.cumsum(areas) / areas.sum()
    usual = float(areas[np.searchsorted(share, 0.25)])
    diameter = 2 * np.sqrt(usual / np.pi)
    return diameter / 1.35, diameter * 1.35
