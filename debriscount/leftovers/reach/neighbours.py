"""What the places around a place say of it: the share of them that the machine took debris from, in rings."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from ...arrays import Floats
from .sites import Sites

#: Widths of the rings in spacings: the nearest places alone, those next to it, and what fills in where these are few.
#: How much each counts is learned.
WIDTHS = (0.5, 1.0, 2.0)
#: Places that are looked at: on average those within 2.3 spacings (16 = π r²), where the widest ring fades.
_NEAREST = 16
#: What is added to both counts so that a share's logit stays finite; less than the usual half, as rings overlap.
_ADDED = 0.2


@dataclass(frozen=True, slots=True, eq=False)
class Neighbours:
    """The nearest places of each of N places, shape (N, K), and their weights in each ring, each of shape (N, K).

    ``taken`` of shape (N,) is the share of each place's debris that does not lie there any more.
    """

    places: NDArray[np.intp]
    rings: tuple[Floats, ...]
    taken: Floats

    def odds(self, stays: Floats, trust: Floats) -> Floats:
        """Log odds of the share of neighbours reached, less those if all were: 0 or below, a column a ring, (N, R).

        Parameters
        ----------
        stays : ndarray of shape (N,)
            Share that stays in each place where the machine acts: what was taken over the rest is an unbiased count of
            places reached.
        trust : ndarray of shape (N,)
            Weight of each place: 0 for one that is known not to have been reached for another reason.
        """
        reached = (self.taken / (1 - stays))[self.places]
        trusted = trust[self.places]
        columns = []
        for ring in self.rings:
            weight = ring * trusted
            summed = weight.sum(axis=1)
            # As many places of equal weight would tell as much (Kish's effective sample size).
            many = summed**2 / np.einsum("nk,nk->n", weight, weight)
            share = np.clip(np.einsum("nk,nk->n", weight, reached) / summed, 0, 1)
            odds = np.log((share * many + _ADDED) / ((1 - share) * many + _ADDED))
            columns.append(odds - np.log(many / _ADDED + 1))
        return np.column_stack(columns)

    def summed_variance(self, deviation: Floats) -> float:
        """Variance of a sum over places that are wrong together with their neighbours.

        Parameters
        ----------
        deviation : ndarray of shape (N,)
            Standard deviation of each place's part.

        Notes
        -----
        A border that is off is off for all places along it: their correlation falls with the distance as the widest
        ring's weight does, over two spacings.
        """
        # Places that are sure add nothing, and are most.
        unsure = deviation > 1e-3 * deviation.max(initial=0.0)
        others = (self.rings[2][unsure] * deviation[self.places[unsure]]).sum(axis=1)
        return float(deviation[unsure] @ (deviation[unsure] + others))


def find_neighbours(sites: Sites) -> Neighbours:
    """The neighbours of every place."""
    xy = np.column_stack([sites.x_mm, sites.y_mm])
    many = min(_NEAREST, len(sites) - 1)
    away, places = cKDTree(xy).query(xy, many + 1)
    away, places = np.asarray(away)[:, 1:] / sites.spacing_mm, np.asarray(places)[:, 1:]
    # Where debris lies thin the nearest still count: rings grow with the distance of the third neighbour.
    scale = np.maximum(1.0, away[:, min(2, many - 1)])[:, None]
    # A weight that underflows would leave a ring without any.
    rings = tuple(np.exp(-0.5 * (away / scale / width) ** 2) + 1e-12 for width in WIDTHS)
    return Neighbours(places, rings, 1 - sites.stayed)
