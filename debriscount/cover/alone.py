"""Floor and noise of a photo that stands alone: no other shot shows the floor under the debris."""

from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from ..at_once import over_strips
from ..stats.robust import SD_OVER_MAD, sampled
from .floor import RIM_PX, disc, from_surroundings
from .kinds import KindHint
from .light import FAINTEST
from .membership import colour_places
from .noise import FloorNoise, learn_mix

#: Share of between-class variance from which two classes are two heaps of colours: evenly spread values have 3/4.
TWO_HEAPS = 0.75
#: Share of a window from which on debris may spoil its median, the floor being the rest: less than half, as debris
#: lies in heaps.
CROWDED = 0.35
#: Most windows in a photo: more would take longer than they tell of the light's gradient.
MOST_WINDOWS = 1000
#: Pixels of a window that are looked at: so many tell a share of them to a hundredth.
WINDOW_PIXELS = 2500
#: How far a kind's colour in the photo may lie from its hint, in colour coordinates: half the logarithm of a factor of
#: 2.7 in exposure.
NEAR_HINT = 0.5
#: Bins of Otsu's histogram.
_LEVELS = 256


def likely_floor(
    view: NDArray[np.float32], usable: NDArray[np.bool_], kinds: Sequence[KindHint]
) -> tuple[NDArray[np.float32], NDArray[np.bool_]]:
    """First estimate of the floor of a single shot, and where it may be bare.

    Parameters
    ----------
    view : ndarray of float32, shape (H, W, 3)
        Linear light.
    usable : ndarray of bool, shape (H, W)
        Where to look.
    kinds : sequence of KindHint
        The kinds of debris.

    Returns
    -------
    floor : ndarray of float32, shape (H, W, 3)
    bare : ndarray of bool, shape (H, W)

    Notes
    -----
    In windows of several grains: the median, as long as most of a window is floor. Where it is crowded, floor is what
    is unlike the debris: the median of the farther of the two heaps into which the distances from the kinds' colours
    fall (Otsu's threshold), if they do fall into two.
    """
    largest = max(kind.size_px[1] for kind in kinds)
    height, width = usable.shape
    smooth = np.asarray(cv2.GaussianBlur(view, (0, 0), 1.0), np.float32)
    distance = _from_hints(smooth, kinds)
    side = max(3 * largest, MOST_WINDOWS**-0.5 * np.sqrt(height * width))
    rows, columns = max(1, round(height / side)), max(1, round(width / side))
    every = max(1, int(np.sqrt(height * width / (rows * columns * WINDOW_PIXELS))))
    across = [np.linspace(0, n, count + 1).astype(int) for n, count in ((height, rows), (width, columns))]
    colour = np.full((rows, columns, 3), np.nan, np.float32)
    limit = np.full((rows, columns), -np.inf, np.float32)
    for i, j in np.ndindex(rows, columns):
        window = np.s_[across[0][i] : across[0][i + 1] : every, across[1][j] : across[1][j + 1] : every]
        chosen = usable[window]
        if chosen.any():
            limit[i, j] = _limit(distance[window][chosen])
            colour[i, j] = np.median(smooth[window][chosen & (distance[window] > limit[i, j])], axis=0)
    known = np.isfinite(colour[..., 0])
    if not known.all() and known.any():
        colour = from_surroundings(np.nan_to_num(colour), known, 1.0)
    floor = np.asarray(cv2.resize(colour, (width, height), interpolation=cv2.INTER_LINEAR), np.float32)
    near = distance <= cv2.resize(limit, (width, height), interpolation=cv2.INTER_NEAREST)
    bare = usable & (cv2.dilate(near.astype(np.uint8), disc(RIM_PX)) == 0)
    return floor, bare if bare.any() else usable


def floor_around(view: NDArray[np.float32], bare: NDArray[np.bool_], largest_px: float) -> NDArray[np.float32]:
    """Smooth floor through what is bare.

    Parameters
    ----------
    view : ndarray of float32, shape (H, W, 3)
        Linear light.
    bare : ndarray of bool, shape (H, W)
        Usable floor without debris.
    largest_px : float
        Diameter of a large grain.

    Returns
    -------
    ndarray of float32, shape (H, W, 3)
    """
    # Half a radius farther from debris, where most of its shade has ended, as long as that leaves some floor.
    wide = cv2.erode(bare.astype(np.uint8), disc(RIM_PX + round(0.25 * largest_px))) > 0
    return from_surroundings(view, wide if wide.any() else bare, 0.5 * largest_px)


def pattern_around(
    view: NDArray[np.float32], floor: NDArray[np.float32], bare: NDArray[np.bool_], grain_px: float | None
) -> FloorNoise:
    """How far bare floor strays from a smooth one, as one share of its brightness in each channel.

    A smooth floor does not tell where its pattern is strong. ``grain_px`` is the diameter of a small grain, or None to
    take channels as independent.
    """
    difference = view - floor
    some = sampled(np.flatnonzero(bare))
    share = np.abs(difference.reshape(-1, 3)[some] / np.maximum(floor.reshape(-1, 3)[some], FAINTEST))
    sigma = np.maximum(floor * (SD_OVER_MAD * np.median(share, axis=0)), FAINTEST / 2).astype(np.float32)
    return FloorNoise(sigma, np.eye(3) if grain_px is None else learn_mix(difference, sigma, bare, grain_px))


def _from_hints(view: NDArray[np.float32], kinds: Sequence[KindHint]) -> NDArray[np.float32]:
    """Distance of every pixel from the nearest kind's hint, in colour coordinates."""
    hints = colour_places(np.array([kind.colour for kind in kinds]))
    result = np.empty(view.shape[:2], np.float32)

    def work(rows: slice) -> None:
        places = colour_places(view[rows].reshape(-1, 3))
        nearest = np.minimum.reduce([((places - hint) ** 2).sum(axis=-1) for hint in hints])
        result[rows] = np.sqrt(nearest).reshape(result[rows].shape)

    over_strips(work, *view.shape[:2])
    return result


def _limit(distance: NDArray[np.float32]) -> float:
    """Distance up to which a window's pixels are debris; none is where most of it is floor."""
    least, most = float(distance.min()), float(distance.max())
    if most - least <= _LEVELS * np.finfo(np.float32).eps * most:
        return -np.inf  # flat but for rounding, which has no bins to be sorted into
    step = (most - least) / _LEVELS
    level, _ = cv2.threshold(
        np.minimum((distance - least) / step, _LEVELS - 1).astype(np.uint8), 0, 255, cv2.THRESH_OTSU
    )
    limit = least + (level + 0.5) * step
    near = distance <= limit
    share = float(near.mean())
    if share <= CROWDED or share == 1 or float(np.median(distance[near])) > NEAR_HINT:
        return -np.inf
    between = share * (1 - share) * float(distance[near].mean() - distance[~near].mean()) ** 2
    return limit if between >= TWO_HEAPS * float(distance.var()) else -np.inf
