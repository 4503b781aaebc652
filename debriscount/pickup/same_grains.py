"""What lies still shows alike: how much larger or smaller one shot shows the very same grains than another.

Blur, light, exposure and a phone's processing change how much of a grain is seen, and alike for all grains of a shot.
Grains that nothing touched between two shots tell by how much.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from ..arrays import Floats
from ..grains.table import GrainTable

#: How far from a grain's place it may be found again, in diameters of the circle of its area.
NEAR = 0.25
#: Areas that differ by more than this factor are of two grains, or of one that was split.
ALIKE = 2.0
#: Standard deviation of the logarithm of how much larger one shot shows grains than another of the same run, before any
#: grains tell: root mean square of what untouched grains say in the rendered photo sets.
USUAL = 0.02
#: Fewest grains found again that are heeded, and the least standard uncertainty that is believed: what lies still may
#: differ from what was moved.
FEWEST, LEAST_U = 5, 0.004


@dataclass(frozen=True, slots=True)
class Seen:
    """How much larger a shot shows grains than *before* does, as a logarithm, and its standard uncertainty."""

    log_ratio: float
    u: float


def seen_larger(before: GrainTable, after: GrainTable) -> Seen:
    """How much larger ``after`` shows grains than ``before`` does.

    Notes
    -----
    The mean logarithm of the areas' ratio over the grains found again, weighted by area, is drawn to 0 by what usually
    is the case (normal prior of standard deviation ``USUAL``).
    """
    ratios, weights = _found_again(before, after)
    if len(ratios) < FEWEST:
        return Seen(0.0, USUAL)
    mean = float(np.average(ratios, weights=weights))
    independent = float(weights.sum() ** 2 / (weights**2).sum())
    error = np.hypot(float(np.sqrt(np.average((ratios - mean) ** 2, weights=weights) / independent)), LEAST_U)
    believed = USUAL**2 / (USUAL**2 + error**2)
    return Seen(believed * mean, float(error * np.sqrt(believed)))


def as_before(tables: Mapping[str, GrainTable]) -> tuple[dict[str, GrainTable], dict[str, Seen]]:
    """The grains of every shot as large as *before* would show them, and what that rests on.

    A later shot is held against *before* or, where that tells it better, against the shot just before it.
    """
    seen = {"before": Seen(0.0, 0.0), "blank": Seen(0.0, 0.0)}
    last = "before"
    for name in (n for n in tables if n not in seen):
        direct = seen_larger(tables["before"], tables[name])
        step = seen_larger(tables[last], tables[name])
        chained = Seen(seen[last].log_ratio + step.log_ratio, float(np.hypot(seen[last].u, step.u)))
        seen[name] = direct if direct.u <= chained.u else chained
        last = name
    return {
        name: replace(table, area_mm2=table.area_mm2 * np.exp(-seen[name].log_ratio)) for name, table in tables.items()
    }, seen


def _found_again(before: GrainTable, after: GrainTable) -> tuple[Floats, Floats]:
    """Logarithm of the areas' ratio, and the area, of every grain that lies where it lay."""
    if not len(before) or not len(after):
        return np.zeros(0), np.zeros(0)
    from scipy.spatial import cKDTree

    away, other = cKDTree(np.stack([before.x_mm, before.y_mm], axis=-1)).query(
        np.stack([after.x_mm, after.y_mm], axis=-1)
    )
    ratio = np.log(after.area_mm2 / before.area_mm2[other])
    same = (away < NEAR * after.diameter_mm) & (np.abs(ratio) < np.log(ALIKE)) & (after.kind == before.kind[other])
    return ratio[same], before.area_mm2[other][same]
