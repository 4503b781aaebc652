"""What of a shot stands out from its surroundings, which tells where things lie without knowing what they are."""

from collections.abc import Callable, Mapping
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

from ..arrays import Mask
from ..at_once import over_strips
from ..cover.floor import local_floor
from ..cover.light import FAINTEST
from ..cover.membership import STRAY

#: By how much in the logarithm of any channel a thing departs from what lies around it; how much of that it may do so
#: in a shot in which it is gone; and the side of what lies around, in large grains.
CHANGED, GONE, AROUND = 0.15, 0.5, 6.0
#: Shots of which logarithms are kept: blank, *before* and one after are asked for again and again.
KEPT = 3


class LogViews:
    """Floor views in one light, by shot, with what several checks ask of them, made once.

    Attributes
    ----------
    matched : mapping of str to ndarray of float32, each of shape (H, W, 3)
        The views, linear light.
    log : callable
        By shot, the logarithm of its view, smoothed, shape (H, W, 3).
    departs : callable
        By shot, by how much that departs from what lies around, in the channel that does so most, shape (H, W).
    """

    def __init__(self, matched: Mapping[str, NDArray[np.float32]], large_px: float) -> None:
        """Take views and the diameter of a large grain, px."""

        def log(name: str) -> NDArray[np.float32]:
            return log_light(np.asarray(cv2.blur(matched[name], (3, 3)), np.float32))

        kept = lru_cache(KEPT)(log)

        def departs(name: str) -> NDArray[np.float32]:
            return largest_difference(kept(name), log_light(local_floor(matched[name], AROUND * large_px)))

        self.matched = matched
        self.log: Callable[[str], NDArray[np.float32]] = kept
        self.departs: Callable[[str], NDArray[np.float32]] = lru_cache(KEPT)(departs)

    def stands_out(self, name: str, other: str) -> tuple[Mask, Mask]:
        """Where a shot departs from what lies around it, and where it does so far more than another, both (H, W)."""
        own = self.departs(name)
        return own > CHANGED, self.departs(other) < GONE * own


def log_light(view: NDArray[np.float32]) -> NDArray[np.float32]:
    """Logarithm of linear light with the stray light that a photo's darkest places hold; shape (H, W, 3)."""
    result = np.empty_like(view)

    def work(rows: slice) -> None:
        light = np.maximum(view[rows], np.float32(FAINTEST))
        light += np.float32(STRAY)
        np.log(light, out=result[rows])

    over_strips(work, *view.shape[:2])
    return result


def largest_difference(one: NDArray[np.float32], other: NDArray[np.float32]) -> NDArray[np.float32]:
    """How far two pictures of shape (H, W, 3) differ in the channel in which they do so most, shape (H, W)."""
    result = np.empty(one.shape[:2], np.float32)

    def work(rows: slice) -> None:
        red, green, blue = cv2.split(cv2.absdiff(one[rows], other[rows]))
        cv2.max(cv2.max(red, green), blue, dst=result[rows])

    over_strips(work, *one.shape[:2])
    return result
