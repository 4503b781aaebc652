"""Grains that differ in area by more than their kind does differ in how they are seen.

Shade, gloss, a wall and other grains hide part of one grain and not of the next. A debris file says how much grains of
a kind vary; what they vary beyond that is error of measurement, and says nothing of how much debris lies there.
"""

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from ..arrays import Floats
from ..cover.kinds import KindHint
from ..grains.table import GrainTable

#: Standard deviations from the 5th to the 95th percentile of a normal distribution.
TO_95TH = 3.29
#: Fewest grains of *before* that tell how much a kind varies as seen.
FEWEST = 20
#: Logarithm of the area over the usual one from which on a thing is nearer to two grains than to one: it stays as it
#: is.
TWO = 0.5 * np.log(2)


def as_varied(tables: Mapping[str, GrainTable], hints: Sequence[KindHint]) -> dict[str, GrainTable]:
    """The grains of every shot, with the likeliest areas that grains of their kinds have which are seen like that.

    Parameters
    ----------
    tables : mapping of str to GrainTable
        The grains of every shot, among them "before".
    hints : sequence of KindHint
        The kinds, in the order of the grains' kinds.

    Notes
    -----
    Logarithms of single grains' areas are drawn to the middle one of *before*, as far as their spread there is more
    than the kind's: the share of their variance that is the kind's own is kept of what each differs by, which errs
    least where error and size have nothing to do with one another [1]_. The more they vary beyond their kind, the less
    do areas tell and the more does the number of grains. Kinds without an outline, whose areas are mostly blur, and
    those whose sizes are not known stay as they are.

    References
    ----------
    .. [1] T. L. Kelley, Interpretation of Educational Measurements (1927): the regressed true score, from memory.
    """
    factors = {name: np.ones(len(table)) for name, table in tables.items()}
    start = tables["before"]
    for k, hint in enumerate(hints):
        seen = np.log(start.area_mm2[start.kind == k])
        if not (hint.outlined and hint.size_known) or len(seen) < FEWEST:
            continue
        middle = float(np.median(seen))
        share = min(1.0, area_spread(hint) / max(_spread(seen[seen < middle + TWO], middle), 1e-9)) ** 2
        for name, table in tables.items():
            over = np.log(table.area_mm2) - middle
            single = (table.kind == k) & (over < TWO)
            factors[name][single] = np.exp((share - 1) * over[single])
    return {
        name: replace(table, area_mm2=table.area_mm2 * factors[name], outline_mm2=table.area_mm2)
        for name, table in tables.items()
    }


def area_spread(hint: KindHint) -> float:
    """Standard deviation of the logarithm of a kind's grain areas, from the percentiles of their diameters."""
    small, large = hint.size_px
    return 2 * float(np.log(large / small)) / TO_95TH


def _spread(logs: Floats, middle: float) -> float:
    return float(np.sqrt(((logs - middle) ** 2).mean()))
