"""What of a shot stands out from its surroundings, which tells where things lie without knowing what they are."""

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

from ..arrays import Mask
from ..cover.floor import local_floor
from ..cover.light import FAINTEST
from ..cover.membership import STRAY

#: By how much in the logarithm of any channel a thing departs from what lies around it; how much of that it may do so
#: in a shot in which it is gone; and the side of what lies around, in large grains.
CHANGED, GONE, AROUND = 0.15, 0.5, 6.0


def stands_out(view: NDArray[np.float32], other: NDArray[np.float32], large_px: float) -> tuple[Mask, Mask]:
    """Where a view departs from what lies around it, and where it does so far more than another, both (H, W)."""
    departs = [
        np.abs(log_light(cv2.blur(v, (3, 3))) - log_light(local_floor(v, AROUND * large_px))).max(axis=-1)
        for v in (view, other)
    ]
    return departs[0] > CHANGED, departs[1] < GONE * departs[0]


def log_light(view: ArrayLike) -> NDArray[np.float32]:
    """Logarithm of linear light with the stray light that a photo's darkest places hold."""
    return np.asarray(np.log(np.maximum(view, FAINTEST) + np.float32(STRAY)), np.float32)
