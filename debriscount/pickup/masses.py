"""From what is seen of grains to what they weigh: by their areas, by their number, or by the best of both."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from ..cover.kinds import OUTLINED_PX
from ..grains.table import GrainTable
from ..inputs.debris import DebrisKind
from .crowding import crowding_factor

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
) -> NDArray[np.float64]:
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
