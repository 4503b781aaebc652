"""Kinds of debris where no file tells of them: from what two shots do not share."""

import cv2
import numpy as np
from numpy.typing import NDArray

from .changes import changed_pixels, pattern_noise
from .colours import ApartPixels
from .discriminant import SHADE, SHEEN
from .floor import local_floor
from .kinds import KindHint
from .light import FAINTEST, stiff_gain
from .membership import colour_places

#: Window that shows what floor looks like hereabouts before any grain size is known, px: coarse debris at a
#: quarter of a millimetre per pixel several times over (common practice, no source).
WINDOW_PX = 75.0
#: Most kinds that are told apart without a file.
MOST_KINDS = 3
#: A kind of fewer changed pixels than this share of all is a stray, not a kind that was scattered.
LEAST_SHARE = 0.05
#: A colour this much nearer to the floor than another's is what the photo's compression leaves around that.
RINGING = 0.1
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
    # Fewer than a few small grains have.
    if len(pixels.colour) < 20:
        # Dark debris on a light floor is as good as shade, if shade is allowed for.
        pixels = changed_pixels(matched, around, pattern, usable, SHEEN)
    if len(pixels.colour) < 20:
        return ()
    clusters = [c for c in _clusters(pixels) if c.sum() >= max(20, LEAST_SHARE * len(pixels.colour))]
    clusters = [c for c in clusters if _of_one_mind(pixels, c)]
    clusters.sort(key=lambda members: -int(members.sum()))
    contrasts = [_contrast(pixels, members) for members in clusters]
    hints = []
    for members, contrast in zip(clusters, contrasts, strict=True):
        if contrast < RINGING * max(contrasts):
            continue
        colour = np.median(pixels.colour[members], axis=0).astype(float)
        sure = np.zeros(usable.shape, bool)
        sure[pixels.y[members].astype(int), pixels.x[members].astype(int)] = True
        size = _size(matched["before"], other, colour, sure, contrast)
        hints.append(KindHint(colour, size, size_known=False))
    return tuple(hints)


def guess_kinds_alone(view: NDArray[np.float32], usable: NDArray[np.bool_]) -> tuple[KindHint, ...]:
    """Guess the kinds of debris in a single shot, from what differs from the floor around.

    Parameters and result are those of `guess_kinds`; most of the view must be floor.
    """
    return guess_kinds(view, local_floor(view, WINDOW_PX), usable)


def _contrast(pixels: ApartPixels, members: NDArray[np.bool_]) -> float:
    """Usual distance of pixels from the floor below them, linear light."""
    return float(np.median(np.linalg.norm((pixels.colour - pixels.floor)[members], axis=1)))


def _clusters(pixels: ApartPixels) -> list[NDArray[np.bool_]]:
    places = colour_places(pixels.colour)
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
    # Begun near the ends, for at them lie single odd pixels; in one dimension two means settle in a few rounds.
    low, high = np.quantile(along, [0.05, 0.95])
    for _ in range(20):
        border = (low + high) / 2
        upper = along > border
        if upper.all() or not upper.any():
            return None
        low, high = float(np.median(along[~upper])), float(np.median(along[upper]))
    # A window of a third of the way between the two: narrower than a valley, wide enough to count in.
    border, width = (low + high) / 2, 0.15 * (high - low)
    here, left, right = (np.count_nonzero(np.abs(along - x) < width) for x in (border, low, high))
    if here > VALLEY * min(left, right):
        return None
    first, second = members.copy(), members.copy()
    first[members], second[members] = ~upper, upper
    return first, second


def _of_one_mind(pixels: ApartPixels, members: NDArray[np.bool_]) -> bool:
    """Whether pixels differ from the floor in one direction; chance ones go to all sides and cancel."""
    away = (pixels.colour - pixels.floor)[members] / np.maximum(pixels.floor[members], 4 * FAINTEST)
    usual = float(np.median(np.linalg.norm(away, axis=1)))
    return float(np.linalg.norm(np.median(away, axis=0))) > 0.5 * usual


def _size(
    view: NDArray[np.float32],
    other: NDArray[np.float32],
    colour: NDArray[np.float64],
    sure: NDArray[np.bool_],
    contrast: float,
) -> tuple[float, float]:
    """5th and 95th percentile of grain diameter, px, from the spots nearer to the kind's colour than to the floor.

    The floor is what the other shot shows there, if that is not debris itself. A spot counts if it holds a pixel
    that is ``sure`` to be debris. Touching grains make one large spot, so the middle of the lower half of the spots,
    weighted by area, is taken for the usual grain, and a usual spread of a third to either side is given to it.
    """
    areas: list[float] = []
    for shot, floor in ((view, other), (other, view)):
        toward = colour.astype(np.float32) - floor
        length = (toward * toward).sum(axis=-1)
        # Off 0 where floor and kind are alike.
        step = ((shot - floor) * toward).sum(axis=-1) / np.maximum(length, 1e-9)
        left = shot - floor - step[..., None] * toward
        # No farther beside the way to the kind's colour than half of that way, which is half of the usual one at least.
        near = (step > 0.5) & ((left * left).sum(axis=-1) < 0.25 * length) & (length > 0.25 * contrast**2)
        _, labels, stats, _ = cv2.connectedComponentsWithStats(near.astype(np.uint8), connectivity=8)
        areas.extend(stats[np.unique(labels[sure & near]), cv2.CC_STAT_AREA])
    if not areas:
        return 1.0, 2.0
    ordered = np.sort(np.array(areas, float))
    share = np.cumsum(ordered) / ordered.sum()
    # The middle of the lower half, and a third to either side.
    diameter = 2 * float(np.sqrt(ordered[np.searchsorted(share, 0.25)] / np.pi))
    return diameter / 1.35, diameter * 1.35
