"""Debris left in every zone against time, in percent of what lay there at first."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..arrays import Floats
from .curve import Curve
from .doubt import Doubts, standard_uncertainty

#: Standard uncertainties to either side of a 95 % interval.
REACH = 1.96


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class LeftOver:
    """Debris left in one zone against time: area in mm² and percent of what lay there at first, arrays of shape (T,).

    ``low_percent`` and ``high_percent`` are what it would be if all that is hidden had gone as soon as it was hidden,
    or only once it was seen again; ``low95_percent`` and ``high95_percent`` are the 95 % interval, NaN for a kind among
    others. Percent are NaN where no more lay at first than bare floor shows by chance.
    """

    area_mm2: Floats
    percent: Floats
    low_percent: Floats
    high_percent: Floats
    low95_percent: Floats
    high95_percent: Floats


def left_over(
    curve: Curve, zones: Sequence[str], bare_mm2: Floats, bare_mm4: Floats, doubts: Doubts
) -> list[dict[str, LeftOver]]:
    """Areas less what bare floor shows, and their share of the first; what the margin gained is left in the patch.

    Parameters
    ----------
    curve : Curve
    zones : sequence of str
        Names of its zones, "patch" first.
    bare_mm2, bare_mm4 : ndarray of shape (R, Z)
        What bare floor shows as debris, and its variance.
    doubts : Doubts

    Returns
    -------
    list of dict of str to LeftOver
        For each row of the curve, keyed by zone.
    """
    area, low, high = (one - bare_mm2 for one in (curve.area_mm2, curve.low_mm2, curve.high_mm2))
    if "margin" in zones:
        margin = area[:, :, zones.index("margin")]
        gain = np.maximum(margin - margin[0], 0)
        for those in (area, low, high):
            those[:, :, 0] += gain
    # A film begins with a frame that is compressed otherwise than the rest: what several show is nearer the truth.
    begin = np.median(area[: max(doubts.calm, 1)], axis=0)
    unsure = REACH * 100 * standard_uncertainty(curve, area, begin, bare_mm4, doubts)
    # What of one kind counts as another is not known: a kind alone has no interval.
    unsure[:, 1:] = np.nan
    first = np.where(begin > REACH * np.sqrt(bare_mm4), begin, np.nan)
    percent, lowest, highest = (100 * one / first for one in (area, low, high))
    return [
        {
            name: LeftOver(
                area_mm2=np.maximum(area[:, row, zone], 0),
                percent=percent[:, row, zone],
                low_percent=lowest[:, row, zone],
                high_percent=highest[:, row, zone],
                low95_percent=np.maximum(percent[:, row, zone] - unsure[:, row, zone], 0),
                high95_percent=percent[:, row, zone] + unsure[:, row, zone],
            )
            for zone, name in enumerate(zones)
        }
        for row in range(area.shape[1])
    ]
