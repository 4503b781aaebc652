"""Grains that are all edge: where they stand out of the floor, and what full cover is in the photos of a run."""

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from .floor import RIM_PX, disc
from .kinds import BLUR_PX, KindHint

#: What the smoothing below leaves of a photo's noise: 0.56 of white noise (0.5 px; 1 / (2 sqrt(pi) s)), and a photo's
#: noise is smoother than white.
SMOOTH_PX, SMOOTHED = 0.5, 0.75
#: Standard deviations of the smoothed noise that one in a million places exceeds by chance: so many does a patch have.
CHANCE = 4.75
#: Share of a small grain's peak that a grain must reach.
LEAST_PEAK = 0.5
#: Lone grains from which full cover is learned: the median of 20 is good to a tenth where grains differ by a third.
FEWEST_LONE = 20
#: How far two readings of one size of grain may differ, besides the sizes' own spread: a spot of twice the area, two
#: grains for one, stays out.
READING = np.log(2) / 2


@dataclass(frozen=True, slots=True, eq=False)
class FineSpots:
    """What stands out of the floor in a shot: all arrays of shape (H, W).

    ``smooth`` is cover but for single-pixel noise, ``limit`` what it must exceed, ``near`` where it does or within the
    blur of that, ``own`` cover less what the bare floor around shows.
    """

    smooth: NDArray[np.float32]
    limit: NDArray[np.float32]
    mask: NDArray[np.bool_]
    seeds: NDArray[np.bool_]
    near: NDArray[np.bool_]
    own: NDArray[np.float32]


def fine_spots(cover: NDArray[np.float32], sigma: NDArray[np.float32], kind: KindHint) -> FineSpots:
    """Find what stands out of the floor by LEAST_PEAK of what a small grain's middle reaches, and beyond noise."""
    smooth = np.asarray(cv2.GaussianBlur(cover, (0, 0), SMOOTH_PX), np.float32)
    limit = _limit(sigma, kind)
    mask = smooth > limit
    seeds = mask & (smooth >= cv2.dilate(smooth, np.ones((3, 3), np.uint8)))
    near = cv2.dilate(mask.astype(np.uint8), disc(RIM_PX)).astype(bool)
    far = cv2.dilate(near.astype(np.uint8), disc(RIM_PX)) == 0
    # Four large grains to either side reach bare floor; of finer ones fifteen pixels do.
    own = cover - _around(cover, far, max(15.0, 4 * kind.size_px[1]))
    return FineSpots(smooth, limit, mask, seeds, near, np.asarray(own, np.float32))


def lone_cover(spots: FineSpots, usable: NDArray[np.bool_]) -> NDArray[np.float64]:
    """Summed cover of every spot that holds one grain alone, px."""
    count, labels = cv2.connectedComponents(spots.near.astype(np.uint8), connectivity=8)
    flat = labels.ravel()
    lone = (np.bincount(flat, spots.seeds.ravel(), count) == 1) & (np.bincount(flat, ~usable.ravel(), count) == 0)
    lone[0] = False
    return np.asarray(np.bincount(flat, spots.own.ravel(), count)[lone], float)


def full_cover(sums_px: NDArray[np.float64], kind: KindHint) -> float:
    """What cover sums up to over a grain for each pixel of floor that the grain hides.

    Parameters
    ----------
    sums_px : ndarray of shape (N,)
        Summed cover of lone grains, px, of all shots.
    kind : KindHint
        Its sizes.

    Returns
    -------
    float
        1 where lone grains are too few, or most spots too unlike each other, to tell.

    Notes
    -----
    Blur, sharpening, coarse colour and a grain's own shade change what a grain sums up to, but alike for all grains of
    a kind. Half of the grains have less than pi/4 d_5 d_95 of area where diameters are lognormal (the usual description
    of granular matter, from memory); so that is what the middle sum stands for. Spots far from the middle are several
    grains, or none.
    """
    sums = sums_px[sums_px > 0]
    if len(sums) < FEWEST_LONE:
        return 1.0
    small, large = kind.size_px
    # Area goes with the square of diameter: twice its spread in logarithms, two standard deviations to either side.
    reach = max(2 * 2 * np.log(large / small) / (2 * 1.645), READING)
    middle, alike = float(np.quantile(sums, 0.5, method="lower")), np.ones(len(sums), bool)
    # More rounds than the middle takes to settle.
    for _ in range(10):
        alike = np.abs(np.log(sums / middle)) < reach
        middle = float(np.quantile(sums[alike], 0.5, method="lower"))
    return middle / (np.pi / 4 * small * large) if alike.mean() > 0.5 else 1.0


def faint_share(sigma: NDArray[np.float32], kind: KindHint) -> float:
    """Share of a kind's area, 0 to 1, that lies in grains too small to stand out as `fine_spots` asks.

    Diameters are lognormal between the kind's percentiles, so by area they are too, with a median larger by a factor of
    exp(2 s^2) (Hatch and Choate's relation, from memory).
    """
    # Every eighth pixel tells the median; at 1 the logarithm below would have no value.
    limit = min(float(np.median(_limit(sigma[::8, ::8], kind))), 0.99)
    blur = float(np.hypot(BLUR_PX, SMOOTH_PX))
    least = 2 * blur * float(np.sqrt(-2 * np.log(1 - limit)))
    small, large = np.log(kind.size_px)
    # Percentiles 5 and 95 lie 1.645 standard deviations off the middle; 5 % apart diameters are as good as equal.
    spread = max(float(large - small) / (2 * 1.645), 0.05)
    off = (np.log(least) - (small + large) / 2 - 2 * spread**2) / spread
    return 0.5 * math.erfc(-off / math.sqrt(2))


def _limit(sigma: NDArray[np.float32], kind: KindHint) -> NDArray[np.float32]:
    return np.asarray(np.maximum(np.float32(LEAST_PEAK * kind.least_peak), np.float32(CHANCE * SMOOTHED) * sigma))


def _around(cover: NDArray[np.float32], bare: NDArray[np.bool_], reach_px: float) -> NDArray[np.float32]:
    """Mean cover of the bare floor around: what the floor itself shows as debris there."""
    weight = bare.astype(np.float32)
    side = 2 * int(reach_px) + 1
    total = cv2.blur(cover * weight, (side, side))
    share = cv2.blur(weight, (side, side))
    # A mean over less than a twentieth of the window is that of one corner of it.
    return np.where(share > 0.05, total / np.maximum(share, 0.05), 0)
