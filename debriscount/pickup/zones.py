"""Sum the grains of a shot by zone and kind."""

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from ..grains.table import GrainTable, zone_members
from ..inputs.debris import DebrisKind
from ..inputs.patch import Patch
from .clumps import K95, count_interval
from .masses import count_weight, grain_masses_g
from .records import Amount

#: Side of the squares by which the floor of zones is summed, mm.
SAMPLE_MM = 2.0


def amounts(
    patch: Patch,
    grains: GrainTable,
    kinds: Sequence[DebrisKind],
    only: int | None = None,
    mm_per_px: float | None = None,
) -> dict[str, Amount]:
    """Debris in every zone of a shot, of all kinds or of one.

    Parameters
    ----------
    patch : Patch
        Its zones.
    grains : GrainTable
        Grains of the shot.
    kinds : sequence of DebrisKind
        In the order of ``grains.kind``.
    only : int, optional
        Index of a kind.
    mm_per_px : float, optional
        Raster of the floor view; with it masses rest on counts too where grains are coarse enough.

    Returns
    -------
    dict of str to Amount
        Keyed by "patch", the patch's zones and its custom zones. A mass is None where that of a grain in it, or
        of all kinds in question, is unknown.
    """
    masses = grain_masses_g(grains, kinds, patch.name, mm_per_px)
    asked = kinds if only is None else [kinds[only]]
    known = bool(asked) and all(
        kind.area_mass_mg_per_mm2 is not None or count_weight(kind, patch.name, mm_per_px) > 0 for kind in asked
    )
    result = {}
    for name, member in zone_members(patch, grains).items():
        chosen = member if only is None else member & (grains.kind == only)
        mass = float(masses[chosen].sum()) if known or chosen.any() else np.nan
        result[name] = Amount(
            float(grains.area_mm2[chosen].sum()),
            int(chosen.sum()),
            None if np.isnan(mass) else mass,
            count_interval(grains, chosen),
        )
    return result


def with_unseen(amount: Amount, share: float) -> Amount:
    """The amount when a share of the grains, below 1, may be unseen: its interval's upper end holds those too."""
    if amount.grains95 is None:
        return amount
    low, high = amount.grains95
    return replace(amount, grains95=(low, high + math.ceil(share / (1 - share) * max(amount.grains, 0))))


def zone_areas_mm2(patch: Patch) -> dict[str, float]:
    """Floor of "patch", its zones and custom zones, mm², good to a square of ``SAMPLE_MM`` along their borders."""
    left, top, right, bottom = patch.outer_box_mm()
    x, y = np.meshgrid(
        np.arange(left + SAMPLE_MM / 2, right, SAMPLE_MM), np.arange(top + SAMPLE_MM / 2, bottom, SAMPLE_MM)
    )
    x, y = x.ravel(), y.ravel()
    # Pieces of floor as if they were grains, so that they belong to zones by the same rule.
    pieces = GrainTable(np.zeros(len(x), np.int16), x, y, np.full(len(x), SAMPLE_MM**2), patch.zone_codes(x, y))
    return {zone: SAMPLE_MM**2 * float(m.sum()) for zone, m in zone_members(patch, pieces).items()}


def not_negative(amount: Amount) -> Amount:
    """An amount that was a little more than taken off as background: nothing."""
    mass = amount.mass_g
    return replace(amount, area_mm2=max(amount.area_mm2, 0.0), mass_g=None if mass is None else max(mass, 0.0))


def less_background(amount: Amount, background: Amount) -> Amount:
    """What is left of an amount when what the bare floor itself shows there is taken off.

    Notes
    -----
    The interval of the grains moves down by the background's grains and widens: those are chance events, seen once here
    and once in the blank, so that their difference has twice the variance of a Poisson count. It is independent of
    what clumps leave open, so the half widths add up as squares.
    """
    mass = None
    if amount.mass_g is not None and background.mass_g is not None:
        mass = amount.mass_g - background.mass_g
    grains = amount.grains - background.grains
    interval = None
    if amount.grains95 is not None:
        chance = K95 * np.sqrt(2 * background.grains)
        down, up = (float(np.hypot(end - amount.grains, chance)) for end in amount.grains95)
        interval = max(int(np.floor(grains - down)), 0), max(int(np.ceil(grains + up)), 0)
    return Amount(amount.area_mm2 - background.area_mm2, max(grains, 0), mass, interval)
