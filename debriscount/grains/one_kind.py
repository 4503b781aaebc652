"""A grain is of one kind: a shaded side that looks like another kind's goes with the rest of its grain."""

from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from ..cover.colours import APART
from ..cover.kinds import KindHint
from ..cover.maps import ShotCover
from .outlined import CALM_PX, CALMED
from .split import split_grains

#: Cover from which a pixel is debris, whatever its kind: half.
DEBRIS = 0.5


def kinds_by_grain(shot: ShotCover, kinds: Sequence[KindHint]) -> NDArray[np.uint8]:
    """Likeliest kind of every pixel, the same all over a grain.

    Parameters
    ----------
    shot : ShotCover
        Cover and the likeliest kind of each pixel.
    kinds : sequence of KindHint
        The kinds of debris.

    Returns
    -------
    ndarray of uint8, shape (H, W)
        Index of the kind; as in the shot where there is no grain, or one kind alone.
    """
    if not all(kind.outlined for kind in kinds) or len(kinds) == 1:
        return shot.kind
    smooth = cv2.GaussianBlur(shot.cover, (0, 0), CALM_PX)
    mask = smooth > np.maximum(DEBRIS, APART * CALMED * shot.sigma)
    sizes = (min(kind.size_px[0] for kind in kinds), max(kind.size_px[1] for kind in kinds))
    labels = split_grains(np.asarray(mask), sizes)
    count = int(labels.max()) + 1
    votes = np.stack([np.bincount(labels[shot.kind == k], minlength=count) for k in range(len(kinds))])
    return np.where(labels > 0, votes.argmax(axis=0)[labels], shot.kind).astype(np.uint8)
