"""Gaps along walls and in corners that the machine does not get into, as odds for every place.

A gap is a band of unknown depth from the foot of a wall, or a quarter of a disc around the foot of a corner. Every
depth up to the next place is a hypothesis; how well each explains what stayed is a running sum over the places in order
of their distance.
"""

import numpy as np

from ...arrays import Floats
from ...inputs.patch import Patch
from .sites import Sites

#: Chance, before anything is seen, that there is a gap: neither way is favoured. Its depth is then as likely to lie
#: between any two places up to the depth of two edge zones (walls) or a corner zone and a half (corners).
_GAP = 0.5


def beyond_gaps(sites: Sites, patch: Patch, evidence: tuple[Floats, Floats], chance: Floats) -> Floats:
    """Chance that each place lies beyond all gaps along walls and in corners, as the others have it.

    Parameters
    ----------
    sites : Sites
        N places.
    patch : Patch
        Its walls.
    evidence : tuple of ndarray of shape (N,)
        Log likelihood of what is seen in a place if it was reached, and if it was not.
    chance : ndarray of shape (N,)
        Chance that it was reached as far as all else tells, 0 to 1 exclusive.
    """
    one, none = evidence
    beyond = np.ones(len(sites))
    for distance, deepest in _distances(sites, patch):
        usual = np.logaddexp(np.log(chance * beyond) + one, np.log1p(-chance * beyond) + none)
        # Kept off 0 for the logarithms of the next wall.
        beyond = np.maximum(beyond * (1 - _in_gap(distance, none - usual, deepest)), 1e-6)
    return beyond


def _distances(sites: Sites, patch: Patch) -> list[tuple[Floats, float]]:
    """Distance of all places from each wall's foot and from each corner, and how deep a gap there may be, mm."""
    to_wall = {wall: patch.to_side_mm(wall, sites.x_mm, sites.y_mm) for wall in patch.walls}
    walls = [(distance, 2 * patch.edge_mm) for distance in to_wall.values()]
    # As deep as said at _GAP.
    corners = [(np.hypot(to_wall[a], to_wall[b]), 1.5 * patch.corner_mm) for a, b in patch.wall_corners()]
    return walls + corners


def _in_gap(distance: Floats, ratio: Floats, deepest: float) -> Floats:
    """Chance that each place lies within the gap, as the others have it.

    ``ratio`` is the log likelihood of what is seen there if it lies in the gap over that if not.
    """
    inside = np.zeros(len(distance))
    near = np.flatnonzero(distance < deepest)
    if not len(near):
        return inside
    near = near[np.argsort(distance[near])]
    own = ratio[near]
    # Hypothesis k: the gap ends after k places; each is as likely as the stretch of depths that gives it is long.
    ends = np.concatenate([[0.0], np.maximum(distance[near], 0), [deepest]])
    prior = np.diff(ends) / deepest * _GAP
    prior[0] += 1 - _GAP
    # Off 0, here and below, for the logarithms.
    summed = np.concatenate([[0.0], np.cumsum(own)]) + np.log(np.maximum(prior, 1e-12))
    weight = np.exp(summed - summed.max())
    within = np.cumsum(weight[::-1])[::-1][1:]
    without = np.maximum(weight.sum() - within, 1e-300)
    # The place's own say is taken out of the hypotheses that hold it.
    odds = np.log(np.maximum(within, 1e-300)) - own - np.log(without)
    inside[near] = 1 / (1 + np.exp(-np.clip(odds, -30, 30)))
    return inside
