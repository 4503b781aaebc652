"""Where moved grains lie from the nearest place that lost one: how far at least, and whether to one side."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from ..arrays import Floats, Mask
from ..grains.table import GrainTable
from ..inputs.patch import OUTSIDE, Patch
from .records import Fates

#: A direction or a side stands out where chance alone would make it so in one pass of a hundred.
BY_CHANCE = 0.01


@dataclass(frozen=True, slots=True, eq=False)
class Moved:
    """Grains that were moved, of kinds matched one by one.

    ``grains`` holds their entries in the later shot, ``way_mm`` of shape (N, 2) the vectors to them from the nearest
    places that lost a grain of their kind, and ``fair`` which of them might as well lie on the other side of it.
    """

    grains: NDArray[np.int_]
    way_mm: Floats
    fair: Mask

    @property
    def least_mm(self) -> Floats:
        """Lower bound of the way that each went, shape (N,)."""
        return np.hypot(self.way_mm[:, 0], self.way_mm[:, 1])


def moved_from_losses(fates: Fates, patch: Patch) -> Moved:
    """Moved grains and the losses nearest to them.

    A way is fair if its mirror image at the loss ends where a grain can lie (off walls and borders by its size, for
    there grains are stopped), and nearer to no other loss. Where the machine throws no way rather than another, such a
    way is as likely as its opposite, whatever the layout of debris and lanes.
    """
    earlier, later = fates.earlier, fates.later
    grains, ways, fair = [np.zeros(0, int)], [np.zeros((0, 2))], [np.zeros(0, bool)]
    for kind in np.flatnonzero(fates.matched):
        lost = (earlier.kind == kind) & (fates.stayed < 0.5) & (earlier.zone != OUTSIDE)
        own = np.flatnonzero((later.kind == kind) & (fates.untouched < 0.5) & (later.zone != OUTSIDE))
        if not lost.any() or not len(own):
            continue
        tree = cKDTree(_places(earlier)[lost])
        there = _places(later)[own]
        apart, index = tree.query(there)
        loss = tree.data[index]
        mirrored = 2 * loss - there
        nearest = tree.query(mirrored)[0]
        room = _room_mm(patch, there), _room_mm(patch, mirrored)
        grains.append(own)
        ways.append(there - loss)
        # The loss itself is among those asked for, so that only rounding makes it farther.
        fair.append((apart > 0) & (nearest >= apart * (1 - 1e-9)) & (np.minimum(*room) > later.diameter_mm[own]))
    return Moved(np.concatenate(grains), np.concatenate(ways), np.concatenate(fair))


def one_way(vectors: Floats) -> bool:
    """Whether unit vectors, each as likely as its opposite by chance, surely lean to one side.

    The square of their sum s is then chi squared with two degrees of freedom in the metric of their summed squares M,
    s M⁻¹ s: Rayleigh's test [1]_, for vectors that need not be spread evenly over the circle.

    Parameters
    ----------
    vectors : ndarray of shape (N, 2)

    References
    ----------
    .. [1] K. V. Mardia, P. E. Jupp, Directional Statistics, Wiley 2000, 6.3.1.
    """
    total, moments = vectors.sum(axis=0), vectors.T @ vectors
    square = float(total @ np.linalg.pinv(moments) @ total)
    return len(vectors) > 0 and bool(np.exp(-square / 2) < BY_CHANCE)


def _places(grains: GrainTable) -> Floats:
    return np.stack([grains.x_mm, grains.y_mm], axis=-1)


def _room_mm(patch: Patch, places: Floats) -> Floats:
    """Distance of places from the border of patch and margin, mm; below 0 outside."""
    left, top, right, bottom = patch.outer_box_mm()
    x, y = places.T
    return np.asarray(np.minimum.reduce([x - left, right - x, y - top, bottom - y]))
