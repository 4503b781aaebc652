"""Gaps along walls and in corners that the machine does not get into: how deep they are, as odds for every depth.

A gap is a band of unknown depth from the foot of a wall, or a quarter of a disc around the foot of a corner. Every
depth up to the next place is a hypothesis; how well each explains what stayed is a running sum over the places in order
of their distance. That one posterior tells how likely a place lies within a gap, and where the gap ends.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..arrays import Floats
from ..inputs.patch import Patch

#: Chance, before anything is seen, that there is a gap: neither way is favoured. Its depth is then as likely to lie
#: between any two places up to the deepest.
_GAP = 0.5


@dataclass(frozen=True, slots=True, eq=False)
class GapDepth:
    """How deep a gap is, by the K places that lie no deeper than one may be.

    ``near`` of shape (K,) are those places, ascending by distance. ``weights`` of shape (K + 1,) are the odds, relative
    to one another, that the gap ends between two neighbours among ``cuts_mm`` of shape (K + 2,), the foot, the places
    and the deepest; the first includes ``none``, that there is no gap.
    """

    near: NDArray[np.intp]
    cuts_mm: Floats
    weights: Floats
    none: float

    @property
    def none_share(self) -> float:
        """Chance that there is no gap."""
        return self.none / float(self.weights.sum())

    def inside(self) -> Floats:
        """Chance that each of the near places lies within the gap, shape (K,)."""
        return np.asarray(self._within() / self.weights.sum())

    def inside_by_others(self, own: Floats) -> Floats:
        """The same as the other places alone have it; ``own`` of shape (K,) is what each says itself, log odds."""
        # Kept off 0 for the logarithms.
        within = np.maximum(self._within(), 1e-300)
        without = np.maximum(self.weights.sum() - self._within(), 1e-300)
        # The place's own say is taken out of the hypotheses that hold it.
        odds = np.log(within) - own - np.log(without)
        return np.asarray(1 / (1 + np.exp(-np.clip(odds, -30, 30))))

    def depth_mm(self, share: float) -> float:
        """Depth, mm, below which the gap ends with this chance, 0 to 1, if there is one."""
        weights = self.weights.copy()
        weights[0] -= self.none
        return float(np.interp(share * weights.sum(), np.concatenate([[0.0], np.cumsum(weights)]), self.cuts_mm))

    def _within(self) -> Floats:
        return np.asarray(np.cumsum(self.weights[::-1])[::-1][1:])


def gap_depth(distance_mm: Floats, ratio: Floats, deepest_mm: float) -> GapDepth:
    """How deep a gap is.

    Parameters
    ----------
    distance_mm : ndarray of shape (N,)
        Of each place from the foot.
    ratio : ndarray of shape (N,)
        Log likelihood of what is seen in each place if it lies in the gap over that if not.
    deepest_mm : float
        As deep as a gap may be.
    """
    near = np.flatnonzero(distance_mm < deepest_mm)
    near = near[np.argsort(distance_mm[near])]
    cuts = np.concatenate([[0.0], np.maximum(distance_mm[near], 0), [deepest_mm]])
    # Hypothesis k: the gap ends after k places; each is as likely as the stretch of depths that gives it is long. Kept
    # off 0 for the logarithm.
    prior = np.diff(cuts) / deepest_mm * _GAP
    prior[0] += 1 - _GAP
    summed = np.concatenate([[0.0], np.cumsum(ratio[near])])
    likely = summed + np.log(np.maximum(prior, 1e-12))
    top = float(likely.max())
    return GapDepth(near, cuts, np.exp(likely - top), (1 - _GAP) * float(np.exp(-top)))


def against_usual(one: Floats, none: Floats, chance: Floats | float) -> Floats:
    """Log likelihood of what is seen in places that were not reached over that in such as are reached by chance.

    Parameters
    ----------
    one, none : ndarray of shape (N,)
        Log likelihood of what is seen in a place if it was reached, and if it was not.
    chance : ndarray of shape (N,) or float
        Chance that it was reached if it lies in no gap, 0 to 1 exclusive.
    """
    return np.asarray(none - np.logaddexp(np.log(chance) + one, np.log1p(-chance) + none))


def beyond_gaps(x_mm: Floats, y_mm: Floats, patch: Patch, evidence: tuple[Floats, Floats], chance: Floats) -> Floats:
    """Chance that each place lies beyond all gaps along walls and in corners, as the others have it.

    Gaps are sought up to the depth of two edge zones along walls, of a corner zone and a half in corners.

    Parameters
    ----------
    x_mm, y_mm : ndarray of shape (N,)
        The places.
    patch : Patch
        Its walls.
    evidence : tuple of ndarray of shape (N,)
        Log likelihood of what is seen in a place if it was reached, and if it was not.
    chance : ndarray of shape (N,)
        Chance that it was reached as far as all else tells, 0 to 1 exclusive.
    """
    beyond = np.ones(len(x_mm))
    to_wall = {wall: patch.to_side_mm(wall, x_mm, y_mm) for wall in patch.walls}
    feet = [(distance, 2 * patch.edge_mm) for distance in to_wall.values()]
    feet += [(np.hypot(to_wall[a], to_wall[b]), 1.5 * patch.corner_mm) for a, b in patch.wall_corners()]
    for distance, deepest in feet:
        ratio = against_usual(*evidence, chance * beyond)
        found = gap_depth(distance, ratio, deepest)
        inside = np.zeros(len(beyond))
        inside[found.near] = found.inside_by_others(ratio[found.near])
        # Kept off 0 for the logarithms of the next wall.
        beyond = np.maximum(beyond * (1 - inside), 1e-6)
    return beyond
