"""Grains that are all edge: cover is gathered in a grown outline, less the floor's own around it."""

import cv2
import numpy as np
from numpy.typing import NDArray

from ..cover.floor import RIM_PX, disc
from ..cover.kinds import KindHint
from ..cover.maps import ShotCover
from .labelled import Labelled

#: Standard deviations of cover by which a pixel must stand out: see cover.colours.APART.
STANDS_OUT = 4.0
#: What the smoothing below leaves of a photo's noise: 0.56 of white noise (0.5 px; 1 / (2 sqrt(pi) s)), and a photo's
#: noise is smoother than white.
SMOOTHED = 0.75
#: Share of a small grain's peak that a grain must reach, and by how much a tighter limit that is tried exceeds it.
LEAST_PEAK, TIGHTER = 0.5, 0.5


def gathered_grains(cover: NDArray[np.float32], shot: ShotCover, kind: KindHint) -> Labelled:
    """Grains of a kind that are a few pixels across, or less.

    Parameters
    ----------
    cover : ndarray of float32, shape (H, W)
        Cover by the kind alone.
    shot : ShotCover
        Its noise.
    kind : KindHint
        The kind.

    Returns
    -------
    Labelled
    """
    sigma = shot.sigma
    smooth = cv2.GaussianBlur(cover, (0, 0), 0.5)
    limit = np.maximum(LEAST_PEAK * kind.least_peak, STANDS_OUT * SMOOTHED * sigma)
    mask = smooth > limit
    seeds = mask & (smooth >= cv2.dilate(smooth, np.ones((3, 3), np.uint8)))
    near = cv2.dilate(mask.astype(np.uint8), disc(RIM_PX)).astype(bool)
    if not seeds.any():
        return Labelled(mask, np.zeros(mask.shape, np.int32), cover, cover)
    _, nearest = cv2.distanceTransformWithLabels(
        (~seeds).astype(np.uint8), cv2.DIST_L2, cv2.DIST_MASK_5, labelType=cv2.DIST_LABEL_CCOMP
    )
    labels = np.where(near, nearest, 0).astype(np.int32)
    far = cv2.dilate(near.astype(np.uint8), disc(RIM_PX)) == 0
    own = cover - _around(cover, far, max(15.0, 4 * kind.size_px[1]))
    weight = np.clip(own, -2 * sigma, 1.5)
    sure = np.zeros(int(labels.max()) + 1, bool)
    sure[labels[seeds & (smooth > (1 + TIGHTER) * limit)]] = True
    return Labelled(mask, labels, weight, np.where(sure[labels], weight, np.float32(0)))


def least_area_px(kind: KindHint) -> float:
    """Area of the smallest thing that is taken for such a grain, px: all edge as they are, peak goes with area."""
    return float(LEAST_PEAK * np.pi / 4 * kind.size_px[0] ** 2)


def _around(cover: NDArray[np.float32], bare: NDArray[np.bool_], reach_px: float) -> NDArray[np.float32]:
    """Mean cover of the bare floor around: what the floor itself shows as debris there."""
    weight = bare.astype(np.float32)
    side = 2 * int(reach_px) + 1
    total = cv2.blur(cover * weight, (side, side))
    share = cv2.blur(weight, (side, side))
    return np.where(share > 0.05, total / np.maximum(share, 0.05), 0)
