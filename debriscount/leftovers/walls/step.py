"""Up to which distance from a foot debris stays as a rule: the gap's end, where what lies within surely stays."""

from dataclasses import dataclass

import numpy as np

from ...arrays import Floats
from ...stats.proportion import Interval, mean_share
from ...stats.quantity import coverage_factor95
from ..gaps import against_usual, gap_depth

#: Chance of no gap from which on none is claimed.
_NONE = 0.05
#: Pieces of the wall's length that are compared: as few as let a t distribution's factor come near the normal one's,
#: so that each holds as many grains as can be.
_PIECES = 8


@dataclass(frozen=True, slots=True)
class Step:
    """How far from the foot what stays falls."""

    place_mm: float
    interval95: Interval


def find_step(
    distance_mm: Floats, along: Floats, stayed: Floats, ratio: Floats, usual: float, reach_mm: float
) -> Step | None:
    """Find up to which distance from the foot debris stays as a rule.

    Parameters
    ----------
    distance_mm : ndarray of shape (N,)
        Of each grain from the foot.
    along : ndarray of shape (N,)
        Its place along the foot, in any unit: the step must show all along, not where a heap or a strip happens to lie.
    stayed : ndarray of shape (N,)
        The share of it that stayed.
    ratio : ndarray of shape (N,)
        Log likelihood of its fate if the machine did not reach its place over that if it did.
    usual : float
        Share of places reached, 0 to 1 exclusive.
    reach_mm : float
        As far out as grains are looked at.

    Returns
    -------
    Step or None
        None unless there surely is a gap in which more than half of the debris stays, and more than beyond it.
    """
    says = against_usual(np.zeros(len(ratio)), ratio, usual)
    gap = gap_depth(distance_mm, says, reach_mm)
    if gap.none_share > _NONE:
        return None
    place = gap.depth_mm(0.5)
    number = int((distance_mm[gap.near] < place).sum())
    within, beyond = gap.near[:number], gap.near[number : 2 * number]
    # A strip that begins farther out lies beyond floor that was surely reached: to one in as many as there are grains.
    if np.cumsum(says[within]).min(initial=0.0) < -np.log(len(gap.near) + 1) or not len(beyond):
        return None
    if not _all_along(along[within], stayed[within], float(stayed[beyond].mean())):
        return None
    return Step(place, (gap.depth_mm(0.025), gap.depth_mm(0.975)))


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
