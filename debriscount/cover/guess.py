"""Kinds of debris where no file tells of them: from what two shots do not share."""

import cv2
import numpy as np
from numpy.typing import NDArray

from .changes import changed_pixels, pattern_noise
from .colours import ApartPixels, colour_coordinates
from .discriminant import SHADE, SHEEN
from .floor import local_floor
from .kinds import KindHint
from .light import stiff_gain

#: Window that shows what floor looks like hereabouts before any grain size is known, px: coarse debris at a
#: quarter of a millimetre per pixel several times over (common practice, no source).
WINDOW_PX = 75.0
#: Most kinds that are told apart without a file.
MOST_KINDS = 3
#: A kind of fewer changed pixels than this share of all is a stray, not a kind that was scattered.
LEAST_SHARE = 0.05
#: Two colours are two kinds when the stretch half way between them is this much emptier than either.
VALLEY = 0.3


def guess_kinds(
    view: NDArray[np.float32], other: NDArray[np.float32], usable: NDArray[np.bool_]
) -> tuple[KindHint, ...]:
    """Guess the kinds of debris from what changed between two shots.

    Parameters
    ----------
    view, other : ndarray of float32, shape (H, W, 3)
        Floor views of *before* and of a shot with less debris, linear light.
    usable : ndarray of bool, shape (H, W)
        Floor seen in both.

    Returns
    -------
    tuple of KindHint
        The most frequent first; empty where the shots hardly differ.
    """
    matched = {"before": view * stiff_gain(view, other, usable), "other": other}
    around = local_floor(other, WINDOW_PX)
    pattern = pattern_noise(other, around, usable, None)
    pixels = changed_pixels(matched, around, pattern, usable, SHADE)
    if len(pixels.colour) < 20:
        # Dark debris on a light floor is as good as shade, if shade is allowed for.
        pixels = changed_pixels(matched, around, pattern, usable, SHEEN)
    if len(pixels.colour) < 20:
        return ()
    clusters = [c for c in _clusters(pixels) if c.sum() >= max(20, LEAST_SHARE * len(pixels.colour))]
    clusters.sort(key=lambda members: -int(members.sum()))
    hints = []
    for members in clusters[:MOST_KINDS]:
        colour = np.median(pixels.colour[members], axis=0).astype(float)
        hints.append(KindHint(colour, _size(matched["before"], other, usable, colour)))
    return tuple(hints)


def _clusters(pixels: ApartPixels) -> list[NDArray[np.bool_]]:
    places = colour_coordinates(pixels.colour)
    waiting = [np.ones(len(places), bool)]
    done: list[NDArray[np.bool_]] = []
    while waiting:
        members = waiting.pop()
        halves = _split(places, members) if members.sum() >= 100 and len(done) + len(waiting) < MOST_KINDS else None
        if halves is None:
            done.append(members)
        else:
            waiting.extend(halves)
    return done


def _split(
    places: NDArray[np.float64], members: NDArray[np.bool_]
) -> tuple[NDArray[np.bool_], NDArray[np.bool_]] | None:
    """Two-means along the widest direction, kept only if there is a valley between the two."""
    own = places[members]
    middle = np.median(own, axis=0)
    _, _, directions = np.linalg.svd(own - middle, full_matrices=False)
    along = (own - middle) @ directions[0]
    low, high = np.quantile(along, [0.05, 0.95])
    for _ in range(20):
        border = (low + high) / 2
        upper = along > border
        if upper.all() or not upper.any():
            return None
        low, high = float(np.median(along[~upper])), float(np.median(along[upper]))
    border, width = (low + high) / 2, 0.15 * (high - low)
    here, left, right = (np.count_nonzero(np.abs(along - x) < width) for x in (border, low, high))
    if here > VALLEY * min(left, right):
        return None
    first, second = members.copy(), members.copy()
    first[members], second[members] = ~upper, upper
    return first, second


def _size(
    view: NDArray[np.float32],
    other: NDArray[np.float32],
    usable: NDArray[np.bool_],
    colour: NDArray[np.float64],
) -> tuple[float, float]:
    """5th and 95th percentile of grain diameter, px, from the spots nearer to the kind's colour than to the floor.

    Touching grains make one large spot, so the middle of the lower half of the spots, weighted by area, is taken
    for the usual grain, and a usual spread of a third to either side is given to it.
    """
    toward = colour.astype(np.float32) - other
    step = ((view - other) * toward).sum(axis=-1) / np.maximum((toward * toward).sum(axis=-1), 1e-9)
    left = view - other - step[..., None] * toward
    near = (step > 0.5) & ((left * left).sum(axis=-1) < 0.25 * (toward * toward).sum(axis=-1)) & usable
    _, _, stats, _ = cv2.connectedComponentsWithStats(near.astype(np.uint8), connectivity=8)
    areas = np.sort(stats[1:, cv2.CC_STAT_AREA].astype(float))
    areas = areas[areas > 1]
    if not len(areas):
        return 1.0, 2.0
    share = np.cumsum(areas) / areas.sum()
    diameter = 2 * float(np.sqrt(areas[np.searchsorted(share, 0.25)] / np.pi))
    return diameter / 1.35, diameter * 1.35
