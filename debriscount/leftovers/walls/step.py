"""Steps in what stays against a distance: where the level that begins at the foot ends.

Grains are put in the order of their distance, and cut into stretches of equal share stayed by likelihood. Where every
share is 0 or 1 a stretch of n grains with mean p has that of n yes-or-no events, n (p ln p + (1 - p) ln(1 - p)). Where
shares are estimates, whose mean alone is right, it is that of normal errors of one variance, which is found from the
differences of neighbours (J. von Neumann, Annals of Mathematical Statistics 12 (1941) 367-395).
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import xlogy

from ...arrays import Floats
from ...stats.proportion import mean_share
from ...stats.quantity import coverage_factor95
from ..records import Interval

#: Twice the fall of the log likelihood within which a change point lies with 95 %: -2 ln(1 - sqrt(0.95)). A change
#: point's is not that of chi squared, 3.84: B. E. Hansen, Econometrica 68 (2000) 575-603, theorem 2 and table I.
FALL95 = float(-2 * np.log(1 - np.sqrt(0.95)))
#: Places between which steps are sought first, among all grains; the one that counts is then sought grain by grain.
_PLACES = 200
#: Pieces of the wall's length that are compared: as few as let a t distribution's factor come near the normal one's,
#: so that each holds as many grains as can be.
_PIECES = 8


@dataclass(frozen=True, slots=True)
class Step:
    """How far from the foot what stays falls."""

    place_mm: float
    interval95: Interval


def find_step(distance_mm: Floats, along: Floats, stayed: Floats, reach_mm: float) -> Step | None:
    """Find up to which distance from the foot debris stays as a rule.

    Parameters
    ----------
    distance_mm : ndarray of shape (N,)
        Of each grain from the foot.
    along : ndarray of shape (N,)
        Its place along the foot, in any unit: the step must show all along, not where a heap or a strip happens to lie.
    stayed : ndarray of shape (N,)
        The share of it that stayed.
    reach_mm : float
        As far out as grains are looked at.

    Returns
    -------
    Step or None
        None unless a level begins at the foot, ends in a fall, and surely has more than half of the debris stay.

    Notes
    -----
    The whole range is cut into stretches of equal share by dynamic programming, with Schwarz's criterion for their
    number (Y.-C. Yao, Statistics & Probability Letters 6 (1988) 181-189): a step costs a place and a level, ln N in
    log likelihood, so that a strip between lanes farther out is a stretch of its own. The first stretch is the gap.
    """
    order = np.argsort(distance_mm, kind="stable")
    order = order[distance_mm[order] < reach_mm]
    distance, share = distance_mm[order], stayed[order]
    if len(distance) < 2:
        return None
    sums = np.concatenate([[0.0], np.cumsum(share)])
    cuts = np.unique(np.linspace(0, len(distance), min(len(distance), _PLACES) + 1).round().astype(int))
    variance = _variance(share)
    stretches = [] if variance == 0 else _stretches(sums, cuts, variance)
    if len(stretches) < 2:
        return None
    end = stretches[1]
    first, likely = _first_step(sums, end, variance)
    if not _all_along(along[order][:first], share[:first], float(share[first:end].mean())):
        return None
    borders = np.concatenate([[0.0], (distance[1:] + distance[:-1]) / 2])
    inside = np.flatnonzero(likely >= likely.max() - FALL95 / 2) + 1
    # A likelihood belongs to all places between two grains.
    low, high = float(distance[inside[0] - 1]), float(distance[inside[-1]])
    return Step(float(borders[first]), (low, high))


def _variance(share: Floats) -> float | None:
    """Variance of shares about their means; None where each is 0 or 1, so that the mean says it."""
    if np.isin(share, (0, 1)).all():
        return None
    return float((np.diff(share) ** 2).mean()) / 2


def _log_likelihood(total: Floats, count: NDArray[np.integer], variance: float | None) -> Floats:
    """Of stretches with so many grains and such sums of shares, but for what is the same however they are cut."""
    mean = total / count
    if variance is not None:
        return np.asarray(count * mean**2 / (2 * variance))
    return np.asarray(count * (xlogy(mean, mean) + xlogy(1 - mean, 1 - mean)))


def _stretches(sums: Floats, cuts: NDArray[np.int_], variance: float | None) -> list[int]:
    """Ends, in grains, of the stretches of the likeliest partition, each stretch at the cost of a place and a level."""
    starts, cost = cuts[:-1], np.log(cuts[-1])
    best = np.full(len(cuts), -np.inf)
    best[0] = 0.0
    back = np.zeros(len(cuts), int)
    for k in range(1, len(cuts)):
        ahead = starts[:k]
        values = best[:k] - cost + _log_likelihood(sums[cuts[k]] - sums[ahead], cuts[k] - ahead, variance)
        back[k] = int(values.argmax())
        best[k] = values[back[k]]
    ends, k = [], len(cuts) - 1
    while k > 0:
        ends.append(int(cuts[k]))
        k = int(back[k])
    return ends[::-1]


def _first_step(sums: Floats, end: int, variance: float | None) -> tuple[int, Floats]:
    """How many of the first ``end`` grains lie before their likeliest step, and the log likelihood of 1 to end - 1."""
    split = np.arange(1, end)
    near = _log_likelihood(sums[split], split, variance)
    likely = near + _log_likelihood(sums[end] - sums[split], end - split, variance)
    return int(likely.argmax()) + 1, likely


def _all_along(along: Floats, share: Floats, beyond: float) -> bool:
    """Whether surely more than half stays, and more than beyond, and surely less than half in no piece of the foot.

    Debris lies in heaps and machines leave strips, so that neighbours share their fate: pieces of the foot, not grains,
    are the independent witnesses. Where there are too few grains for pieces the interval by counting alone decides.
    """
    counted = mean_share(share, np.ones(len(share)))
    if counted is None or counted[1][0] <= max(0.5, beyond):
        return False
    pieces = min(_PIECES, len(share) // 2)
    if pieces < 2:
        return True
    # Of equal numbers of grains: equal lengths would leave some empty where debris lies in heaps.
    shares = [mean_share(piece, np.ones(len(piece))) for piece in np.array_split(share[np.argsort(along)], pieces)]
    means = np.array([piece[0] for piece in shares if piece is not None])
    if any(piece is not None and piece[1][1] < 0.5 for piece in shares):
        return False
    half = coverage_factor95(len(means) - 1) * float(means.std(ddof=1)) / np.sqrt(len(means))
    return bool(means.mean() - half > max(0.5, beyond))
