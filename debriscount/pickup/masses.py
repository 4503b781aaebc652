"""From what is seen of grains to what they weigh: by areas with crowding undone, by number, or by the best of both."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from ..arrays import Floats
from ..cover.kinds import OUTLINED_PX
from ..grains.table import GrainTable
from ..inputs.debris import DebrisKind

#: A cell holds about this many grains when they lie side by side.
GRAINS_PER_CELL = 10


def true_cover(seen: NDArray[np.floating], crowding: float) -> Floats:
    """True cover q behind seen cover p.

    Parameters
    ----------
    seen : ndarray
        Seen cover, 0 to 1.
    crowding : float
        kappa; 0 is a single layer, 1 random overlap (the Boolean model).

    Returns
    -------
    ndarray
        Summed grain area per floor area, at least ``seen``.

    Notes
    -----
    Inverse of p = (1 - exp(-kappa q)) / kappa; kappa = 1 is the area fraction of the Boolean model,
    p = 1 - exp(-q) [1]_. Seen cover beyond what the model reaches is held just below it.

    References
    ----------
    .. [1] S. N. Chiu, D. Stoyan, W. S. Kendall, J. Mecke, Stochastic Geometry and its Applications, 3rd
       ed., Wiley 2013, section 3.1.
    """
    p = np.asarray(seen, float)
    if crowding == 0:
        return p
    return np.asarray(-np.log1p(-np.minimum(crowding * p, 0.98)) / crowding)


def crowding_factor(x_mm: Floats, y_mm: Floats, area_mm2: Floats, crowding: float) -> Floats:
    """True over seen area for each grain, from the cover of the cell that it lies in; shape (N,).

    Cells are squares of about ten grains' area side by side at a cover of one half.
    """
    if crowding == 0 or len(area_mm2) == 0:
        return np.ones(len(area_mm2))
    side = float(np.sqrt(2 * GRAINS_PER_CELL * np.median(area_mm2)))
    cell = np.stack([np.floor(x_mm / side), np.floor(y_mm / side)], axis=-1)
    _, index = np.unique(cell, axis=0, return_inverse=True)
    index = index.ravel()
    seen = np.bincount(index, area_mm2) / side**2
    factor = true_cover(seen, crowding) / np.maximum(seen, 1e-12)
    return np.asarray(factor[index])


#: Relative standard deviation of area mass from one floor and light to another, since how large grains show depends on
#: the floor beside them: root mean square of what lentils and light rice differ by over five simulated floors (7 and
#: 22 %, tests/benchmarks/portion_floors.py) and over three rendered ones (8 and 21 %, tests/benchmarks/portions.py).
CARRY = 0.16
#: The same for one floor and light, where little but the shots' own light differs.
SAME_FLOOR = 0.01
#: Relative standard uncertainty of a mass by counts: batches differ in the mass of a grain, and some grains go unseen
#: (common practice, no source).
BY_COUNT = 0.05


def count_weight(kind: DebrisKind, patch_name: str, mm_per_px: float | None) -> float:
    """Weight of counts in a kind's masses, 0 to 1; areas have the rest.

    Inverse variances, as `CARRY` or `SAME_FLOOR` and `BY_COUNT` have them: counts carry from floor to floor, areas do
    not, unless the area mass was learned on this very patch. The weight is the same for all shots of a run, so that
    what is wrong with either cancels in a ratio. Grains too fine for an outline, or of unknown raster, are not counted.
    """
    if kind.grain_mass_mg is None or mm_per_px is None or kind.size_mm[0] < OUTLINED_PX * mm_per_px:
        return 0.0
    if kind.area_mass_mg_per_mm2 is None:
        return 1.0
    own_floor = kind.calibration is not None and kind.calibration.patch == patch_name
    by_area = SAME_FLOOR if own_floor else CARRY
    return by_area**2 / (by_area**2 + BY_COUNT**2)


def grain_masses_g(
    grains: GrainTable, kinds: Sequence[DebrisKind], patch_name: str = "", mm_per_px: float | None = None
) -> Floats:
    """Mass that each grain adds, grams; NaN where its kind's is unknown; shape (N,).

    Parameters
    ----------
    grains : GrainTable
        Grains of one shot.
    kinds : sequence of DebrisKind
        In the order of ``grains.kind``.
    patch_name : str
        Name of the patch, which tells whether an area mass was learned on it.
    mm_per_px : float, optional
        Raster of the floor view; without it areas alone count.
    """
    masses = np.full(len(grains), np.nan)
    for k, kind in enumerate(kinds):
        own = grains.kind == k
        weight = count_weight(kind, patch_name, mm_per_px)
        by_count = weight * (kind.grain_mass_mg or 0.0)
        if weight == 1:
            masses[own] = by_count / 1000
        elif kind.area_mass_mg_per_mm2 is not None:
            factor = crowding_factor(grains.x_mm[own], grains.y_mm[own], grains.area_mm2[own], kind.crowding)
            by_area = grains.area_mm2[own] * factor * kind.area_mass_mg_per_mm2
            masses[own] = ((1 - weight) * by_area + by_count) / 1000
    return masses
