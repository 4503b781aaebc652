"""A run's photos beside its weighings."""

import math
from collections.abc import Sequence

from ..inputs.debris import DebrisKind
from ..inputs.patch import Patch
from ..inputs.weighing import Weighing
from ..scale.agreement import Agreement, agree
from ..scale.fault_patterns import Evidence
from ..scale.pickup import WeighedPickup, weighed_pickup
from ..scale.quantity import Quantity
from .records import PassFigures, ScaleFigures, ZoneFigures

#: Ends of a 95 % interval lie so many standard uncertainties apart, for an interval that is near to normal.
INTERVAL_95 = 2 * 1.96
#: Share by which masses from area are wrong when one kind's area mass was learned from another batch or in other light
#: (common practice, no source); it cancels in a ratio, and counts where *before* is held against the scale.
OTHER_BATCH = 0.05


def scale_figures(
    patch: Patch,
    weighing: Weighing,
    passes: Sequence[PassFigures],
    kinds: Sequence[DebrisKind],
    cover_before: float | None,
) -> ScaleFigures:
    """Hold a run's pickup against what the scale says.

    Parameters
    ----------
    patch : Patch
        Its zones.
    weighing : Weighing
        What was weighed; the bin holds what all passes took.
    passes : sequence of PassFigures
        By photo; the last is compared.
    kinds : sequence of DebrisKind
        Their area masses, if known, turn area into mass.
    cover_before : float, optional
        Mean cover where the debris of *before* lies, 0 to 1.

    Returns
    -------
    ScaleFigures
    """
    weighed = weighed_pickup(weighing, patch.zone_names())
    last = passes[-1]
    photo = photo_pickup(last)
    agreement: Agreement | None = None
    if photo is not None and weighed.pickup_percent is not None and photo.u + weighed.pickup_percent.u > 0:
        agreement = agree(photo, weighed.pickup_percent, _evidence(patch, weighed, last, kinds, cover_before))
    return ScaleFigures(weighing, weighed, agreement)


def photo_pickup(figures: PassFigures) -> Quantity | None:
    """Pickup of the patch by mass, percent, with the uncertainty of that by area; by area where masses are unknown.

    None where nothing lay there or the uncertainty is unknown. Debris flung into the margin counts as left.
    """
    whole = figures.zones["patch"]
    if whole.pickup_percent is None or whole.interval95 is None:
        return None
    value = whole.pickup_percent
    before, after = whole.before.mass_g, whole.after.mass_g
    if before is not None and after is not None and before > 0:
        value = 100 * (1 - (after + _gain_g(figures.zones.get("margin"))) / before)
    low, high = whole.interval95
    width = high - low
    if high >= 100 or low == 0:  # cut where figures end: the side that is whole tells
        width = max(width, 2 * max(high - whole.pickup_percent, whole.pickup_percent - low))
    return Quantity(value, width / INTERVAL_95)


def _gain_g(margin: ZoneFigures | None) -> float:
    if margin is None or margin.before.mass_g is None or margin.after.mass_g is None:
        return 0.0
    return max(margin.after.mass_g - margin.before.mass_g, 0.0)


def _evidence(
    patch: Patch,
    weighed: WeighedPickup,
    last: PassFigures,
    kinds: Sequence[DebrisKind],
    cover_before: float | None,
) -> Evidence:
    whole, margin = last.zones["patch"], last.zones.get("margin")
    area = whole.before.area_mm2
    walls = [last.zones[name] for name in ("edge", "corner") if name in last.zones]
    pickups = [zones["patch"].pickup_percent for zones in last.kinds.values()]
    known = [p for p in pickups if p is not None]
    return Evidence(
        by="both" if weighed.by_collection_percent and weighed.by_residue_percent
        else "bin" if weighed.by_collection_percent else "swept",
        unaccounted_percent=weighed.unaccounted_percent,
        before_percent=_before_percent(whole, weighed),
        margin_gain_percent=None
        if margin is None
        else 100 * max(margin.after.area_mm2 - margin.before.area_mm2, 0.0) / area,
        wall_gone_percent=100 * sum(max(z.before.area_mm2 - z.after.area_mm2, 0.0) for z in walls) / area,
        elsewhere_percent=None if weighed.elsewhere_percent is None else weighed.elsewhere_percent.value,
        cover_before=cover_before,
        crowding=max((kind.crowding for kind in kinds), default=0.0),
        unseen_percent=None if whole.limit_mm2 is None else 100 * whole.limit_mm2 / area,
        kind_spread_percent=max(known) - min(known) if len(kinds) > 1 and known else 0.0,
    )  # fmt: skip


def _before_percent(whole: ZoneFigures, weighed: WeighedPickup) -> Quantity | None:
    """Mass of *before* by photo over mass dispensed, percent; None where either is unknown."""
    mass, dispensed = whole.before.mass_g, weighed.balance.dispensed_g
    if mass is None or dispensed.value <= 0:
        return None
    share = 100 * mass / dispensed.value
    return Quantity(share, share * math.hypot(OTHER_BATCH, dispensed.u / dispensed.value))
