"""Which kind of debris a pixel belongs to, when several were scattered."""

from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from ..at_once import over_strips
from .colours import LearnedColour
from .discriminant import TINT

#: Standard deviation of a grain's shading over its own mean brightness: a matt ball under one lamp (Lambert) has
#: 0.47 over its lit half.
SHADING = 0.5
#: Cover by any kind below which a pixel is of none in particular: no outline runs that low.
LEAST_COVER = 0.1


def likeliest_kind(
    view: NDArray[np.float32],
    floor: NDArray[np.float32],
    covers: Sequence[NDArray[np.float32]],
    colours: Sequence[LearnedColour],
    sigma: NDArray[np.float32],
    grain_px: float,
) -> NDArray[np.uint8]:
    """Index of the kind that leaves least of each pixel's neighbourhood unexplained.

    Parameters
    ----------
    view, floor : ndarray of float32, shape (H, W, 3)
        Light-matched view and bare floor.
    covers : sequence of ndarray of float32, each of shape (H, W)
        Cover by each kind if it were the only one.
    colours : sequence of LearnedColour
        The kinds' colours.
    sigma : ndarray of float32, shape (H, W, 3)
        Noise of a channel.
    grain_px : float
        Diameter of a large grain; the neighbourhood is a third of it.

    Returns
    -------
    ndarray of uint8, shape (H, W)
        0 where no kind covers a tenth of a pixel in the neighbourhood.
    """
    height, width = floor.shape[:2]
    kind = np.zeros((height, width), np.uint8)
    if len(covers) == 1:
        return kind
    # A third of a grain, and the least window that has a pixel on either side.
    side = max(3, int(0.3 * grain_px) | 1)
    some = np.logical_or.reduce([np.abs(cover) > LEAST_COVER for cover in covers])
    near = cv2.dilate(some.astype(np.uint8), np.ones((side, side), np.uint8)) > 0
    misfits = [np.zeros((height, width), np.float32) for _ in covers]

    def work(rows: slice) -> None:
        here = near[rows]
        bare, noise = floor[rows][here], sigma[rows][here]
        off = view[rows][here] - bare
        for misfit, cover, colour in zip(misfits, covers, colours, strict=True):
            debris = colour.over((height, width), rows)[here]
            misfit[rows][here] = _misfit(off, bare, cover[rows][here], debris, noise)

    over_strips(work, height, width)
    least = np.full((height, width), np.inf, np.float32)
    for k, misfit in enumerate(misfits):
        around = np.asarray(cv2.blur(misfit, (side, side)), np.float32)
        kind[around < least] = k
        np.minimum(least, around, out=least)
    return kind


def _misfit(
    difference: NDArray[np.float32],
    floor: NDArray[np.float32],
    cover: NDArray[np.float32],
    debris: NDArray[np.float32],
    sigma: NDArray[np.float32],
) -> NDArray[np.float32]:
    """Squared Mahalanobis length of what a kind leaves unexplained, its own shading allowed for, shape (N,).

    A dome under a lamp goes from dark to light, so a grain's brightness strays by SHADING along its own colour
    (Sherman-Morrison). All arguments but ``cover``, (N,), have shape (N, 3).
    """
    off, f, d, n = (np.ascontiguousarray(v.T) for v in (difference, floor, debris, sigma))
    share = np.clip(cover, 0, 1)
    left = off - share * (d - f)
    variance = n * n + np.float32(TINT**2) * d * d
    grain = share * d
    whitened = left / variance
    along = (whitened * grain).sum(axis=0)
    reach = 1 / SHADING**2 + (grain * grain / variance).sum(axis=0)
    return np.asarray((whitened * left).sum(axis=0) - along * along / reach, np.float32)
