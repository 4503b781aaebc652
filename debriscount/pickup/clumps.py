"""How far the count of grains can be trusted where they hang together: splitting them beside their area.

A clump of touching grains can be counted in two ways that err apart: by the pieces into which it was split, and by its
area over that of one grain. Where they agree the count is sure to the area's own uncertainty, and where they differ
the truth may be either, so the interval reaches from the one to the other and beyond.
"""

import numpy as np

from ..arrays import Floats, Mask
from ..grains.table import GrainTable
from .masses import crowding_factor

#: Least single grains of a kind from which the area of one is learned: the spread of n normal values, taken from those
#: below their median, is good to 1.13 / sqrt(n) (simulated), so that of ten to about a third.
LEAST_SINGLES = 10
#: Standard deviations of the logarithm of a grain's area above the usual beyond which a piece may be two grains that
#: were not split. One single grain in forty is so large; two usual grains together lie ln 2 = 0.69 above one, which is
#: beyond as long as the standard deviation is below 0.35.
LARGE = 2.0
#: Normal deviate of a 95 % interval.
K95 = 1.96


def count_interval(grains: GrainTable, chosen: Mask) -> tuple[int, int] | None:
    """95 % interval of how many grains the chosen ones are.

    Parameters
    ----------
    grains : GrainTable
        All grains of a shot.
    chosen : ndarray of bool, shape (N,)
        Those that are counted, such as the grains of a zone.

    Returns
    -------
    (int, int) or None
        Least and most; None where a kind has clumps but fewer than ``LEAST_SINGLES`` single grains, or no clumps are
        known.

    Notes
    -----
    A clump of one piece is a single grain. The single grains of a kind in the whole shot tell the area of one: its
    logarithm is normal, with the median of theirs and the standard deviation s of those below the median, since pairs
    that were not split only swell the upper half. With the mean area a = exp(median + s^2 / 2) and the relative
    standard deviation c = sqrt(exp(s^2) - 1) [1]_, a clump of n pieces and area A holds A / a grains, with the standard
    deviation c sqrt(A / a) from grain to grain. A large single piece (``LARGE``) is such a clump too, of n = 1.

    Over all clumps counted, the area gives D = sum(A / a - n) grains more than splitting. Beside the standard
    deviations from grain to grain, whose squares add up, stands that of a, s sqrt(pi / 2) / sqrt(single grains) for the
    median of normal values, which is common to all clumps. With both together as u the interval is
    [N + min(0, D) - 1.96 u, N + max(0, D) + 1.96 u] about the N grains counted, rounded outwards, and never below the
    number of clumps, since each holds a grain. Of several kinds the D to either side and the squares of u add up.
    Grains that lie alone and are not large are counted surely.

    Of a clump that lies across a zone's border, the pieces whose centres lie in the zone are a clump of the zone, so
    that D of zones adds up to D of the patch. Large grains touch others more often than small ones, which makes A / a a
    little high. What a grain hides of another is missing from the area, and a grain that is hidden wholly from both
    counts: so to the upper end are added as many as random overlap would hide beneath the clumps of all kinds together
    (the Boolean model, `crowding_factor`).

    References
    ----------
    .. [1] E. L. Crow, K. Shimizu (ed.), Lognormal Distributions: Theory and Applications, Dekker 1988, chapter 1
       (quoted from memory).
    """
    if len(grains.clump) != len(grains):
        return None
    alone = np.bincount(grains.clump)[grains.clump] == 1
    area = grains.outline_mm2 if len(grains.outline_mm2) else grains.area_mm2
    down = up = variance = 0.0
    for kind in np.unique(grains.kind[chosen]):
        own = grains.kind == kind
        counts = _counts_by_area(area[own], alone[own], chosen[own])
        if counts is None:
            return None
        more, square = counts
        down, up, variance = down + min(0.0, more), up + max(0.0, more), variance + square
    counted, beyond = int(chosen.sum()), K95 * float(np.sqrt(variance))
    hidden = crowding_factor(grains.x_mm, grains.y_mm, area, 1.0) - 1
    up += float(hidden[chosen & ~alone].sum())
    least = len(np.unique(grains.clump[chosen]))
    return max(int(np.floor(counted + down - beyond)), least), int(np.ceil(counted + up + beyond))


def _counts_by_area(area_mm2: Floats, alone: Mask, chosen: Mask) -> tuple[float, float] | None:
    """How many more grains than pieces the area makes of one kind's chosen clumps, and the variance of that."""
    singles = int(alone.sum())
    clumped = chosen & ~alone
    if singles < LEAST_SINGLES:
        # Too few to tell a large one among them; but so few grains seldom touch.
        return None if clumped.any() else (0.0, 0.0)
    log_area = np.log(area_mm2)
    usual = float(np.median(log_area[alone]))
    spread = float(np.sqrt(2 * np.mean(np.minimum(log_area[alone] - usual, 0) ** 2)))
    clumped |= chosen & (log_area > usual + LARGE * spread)
    by_area = float(area_mm2[clumped].sum() / np.exp(usual + spread**2 / 2))
    common = spread * np.sqrt(np.pi / 2 / singles) * by_area
    return by_area - int(clumped.sum()), float(np.expm1(spread**2) * by_area + common**2)
