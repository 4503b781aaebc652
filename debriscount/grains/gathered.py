"""Grains that are all edge: cover is gathered in a grown outline, less the floor's own around it."""

import cv2
import numpy as np
from numpy.typing import NDArray

from ..cover.fine import LEAST_PEAK, fine_spots
from ..cover.kinds import KindHint
from ..cover.maps import ShotCover
from .labelled import Labelled

#: By how much a tighter limit that is tried exceeds the limit.
TIGHTER = 0.5


def gathered_grains(cover: NDArray[np.float32], shot: ShotCover, kind: KindHint, full: float) -> Labelled:
    """Grains of a kind that are a few pixels across, or less.

    Parameters
    ----------
    cover : ndarray of float32, shape (H, W)
        Cover by the kind alone.
    shot : ShotCover
        Its noise.
    kind : KindHint
        The kind.
    full : float
        What its cover sums up to over a grain for each pixel hidden.

    Returns
    -------
    Labelled
    """
    spots = fine_spots(cover, shot.widest_sigma, kind)
    if not spots.seeds.any():
        return Labelled(spots.mask, np.zeros(cover.shape, np.int32), cover, cover)
    _, nearest = cv2.distanceTransformWithLabels(
        (~spots.seeds).astype(np.uint8), cv2.DIST_L2, cv2.DIST_MASK_5, labelType=cv2.DIST_LABEL_CCOMP
    )
    labels = np.where(spots.near, nearest, 0).astype(np.int32)
    # Gloss and noise beyond what debris can come to are cut off.
    weight = np.clip(spots.own, -2 * shot.sigma, 1.5) / np.float32(full)
    sure = np.zeros(int(labels.max()) + 1, bool)
    sure[labels[spots.seeds & (spots.smooth > (1 + TIGHTER) * spots.limit)]] = True
    return Labelled(spots.mask, labels, weight, np.where(sure[labels], weight, np.float32(0)))


def least_area_px(kind: KindHint) -> float:
    """Area of the smallest thing that is taken for such a grain, px: all edge as they are, peak goes with area."""
    return float(LEAST_PEAK * np.pi / 4 * kind.size_px[0] ** 2)
