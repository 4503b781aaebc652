"""A run's photos beside its weighings."""

import math
from collections.abc import Sequence
from dataclasses import replace
from statistics import fmean

import numpy as np

from ..inputs.debris import DebrisKind
from ..inputs.patch import ZONES, Patch
from ..inputs.weighing import Net, Weighing
from ..pickup.records import Amount, PassFigures, ZoneFigures
from ..scale.agreement import agree, verdict_of
from ..scale.exchanged import exchanges_that_explain
from ..scale.fault_patterns import Evidence
from ..scale.pickup import WeighedPickup, weighed_pickup
from ..stats.quantity import Quantity
from ..stats.reconcile import reconcile
from .records import BestPickup, ScaleFigures

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
    last = passes[-1]
    weighed = weighed_pickup(weighing, patch.zone_names(), laid_percent(last))
    photo, scale = photo_pickup(last), weighed.pickup_percent
    if photo is None or scale is None or photo.u + scale.u <= 0:
        return ScaleFigures(weighing, weighed, None)
    evidence = _evidence(patch, weighing, weighed, last, kinds, cover_before)
    verdict, doubted = verdict_of(photo, scale), evidence.balance_doubted
    if verdict == "agree" and not doubted:
        return ScaleFigures(weighing, weighed, agree(photo, scale), best_pickups(last, photo, scale))
    if verdict == "disagree" or doubted:  # less may be chance, and calls for no exchange
        exchanges = exchanges_that_explain(photo, _before_g(last.zones["patch"]), weighing, patch.zone_names())
        evidence = replace(evidence, exchanged=tuple(exchange.sentence for exchange in exchanges))
    return ScaleFigures(weighing, weighed, agree(photo, scale, evidence))


def laid_percent(figures: PassFigures) -> dict[str, float]:
    """Share of the debris of *before* that lay in each zone by photo, percent; empty where none is seen."""
    whole = _amount(figures.zones["patch"].before, figures)
    return {
        name: 100 * _amount(zone.before, figures) / whole
        for name, zone in figures.zones.items()
        if name not in ("patch", "margin") and whole > 0
    }


def best_pickups(figures: PassFigures, photo: Quantity, scale: Quantity) -> dict[str, BestPickup]:
    """Pickup of patch and zones by photo and scale together.

    Parameters
    ----------
    figures : PassFigures
        By photo.
    photo, scale : Quantity
        Pickup of the patch, percent, independent of one another.

    Returns
    -------
    dict of str to BestPickup
        "patch", and every zone whose pickup is known. Their shares of the debris still sum to the patch's, with what
        the photo saw flung into the margin.

    Notes
    -----
    The patch is the mean of least variance. Of zones only the photo knows: what the scale says of the patch passes on
    to them as far as their errors go with the patch's, by generalised least squares with the condition that photo and
    scale see one patch.
    """
    zones = {name: zone for name, zone in figures.zones.items() if name in figures.with_patch and name != "patch"}
    zones = {name: zone for name, zone in zones.items() if zone.pickup_percent is not None and zone.interval95}
    seen = {name: Quantity(_zone_pickup(zone), _u_of(zone)) for name, zone in zones.items()}
    slopes = np.array([figures.with_patch[name] for name in seen])
    measured = [photo, scale, *seen.values()]
    moves = np.array([1.0, 0.0, *slopes])
    covariance = photo.u**2 * np.outer(moves, moves)
    np.fill_diagonal(covariance, [q.u**2 for q in measured])
    condition = np.zeros((1, len(measured)))
    condition[0, :2] = 1.0, -1.0
    met = reconcile([q.value for q in measured], covariance, condition)
    best = [met.quantity(i, measured) for i in range(len(measured))]
    laid = laid_percent(figures)
    # The patch's errors are the sum of its zones' but for what moves with the zones' shares, which stay as they are.
    sums_to = sum(laid[name] / 100 * slope for name, slope in zip(seen, slopes, strict=True) if name in ZONES)
    for k, was in enumerate(measured[2:], start=2):
        if sums_to > 0:
            best[k] = replace(best[k], value=was.value + (best[k].value - was.value) / sums_to)
    return {name: _best_pickup(best[k]) for k, name in enumerate(["patch", "scale", *seen]) if name != "scale" or k > 1}


def _best_pickup(quantity: Quantity) -> BestPickup:
    low, high = (min(end, 100.0) for end in quantity.interval95())
    return BestPickup(min(quantity.value, 100.0), quantity.u, (low, high))


def measurable(scale: ScaleFigures, last: PassFigures) -> ScaleFigures:
    """The same without a best figure for zones whose pickup cannot be told from the photos."""
    told = {zone: best for zone, best in scale.best.items() if last.zones[zone].trust != "not measurable"}
    return replace(scale, best=told)


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
    return Quantity(value, _u_of(whole))


def _zone_pickup(zone: ZoneFigures) -> float:
    """Pickup of a zone by mass or, where masses are unknown, by area, percent."""
    before, after = zone.before.mass_g, zone.after.mass_g
    if before is not None and after is not None and before > 0:
        return 100 * (1 - after / before)
    assert zone.pickup_percent is not None
    return zone.pickup_percent


def _u_of(zone: ZoneFigures) -> float:
    assert zone.interval95 is not None and zone.pickup_percent is not None
    low, high = zone.interval95
    width = high - low
    if high >= 100 or low == 0:  # cut where figures end: the side that is whole tells
        width = max(width, 2 * max(high - zone.pickup_percent, zone.pickup_percent - low))
    return width / INTERVAL_95


def _amount(amount: Amount, figures: PassFigures) -> float:
    """Mass where the patch's is known, otherwise area: zones are held against one another in the same."""
    known = figures.zones["patch"].before.mass_g is not None
    return (amount.mass_g or 0.0) if known else amount.area_mm2


def _gain_g(margin: ZoneFigures | None) -> float:
    if margin is None or margin.before.mass_g is None or margin.after.mass_g is None:
        return 0.0
    return max(margin.after.mass_g - margin.before.mass_g, 0.0)


def _evidence(
    patch: Patch,
    weighing: Weighing,
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
    before_g = _before_g(whole)
    caught = weighing.bin or weighing.emptied
    return Evidence(
        by="both" if weighed.balance.closed else "bin" if weighed.by_collection_percent else "swept",
        unaccounted_percent=weighed.unaccounted_percent,
        before_percent=_before_percent(before_g, weighed.balance.dispensed_g),
        margin_gain_percent=None
        if margin is None
        else 100 * max(margin.after.area_mm2 - margin.before.area_mm2, 0.0) / area,
        wall_gone_percent=100 * sum(max(z.before.area_mm2 - z.after.area_mm2, 0.0) for z in walls) / area,
        elsewhere_percent=None if weighed.elsewhere_percent is None else weighed.elsewhere_percent.value,
        cover_before=cover_before,
        crowding=max((kind.crowding for kind in kinds), default=0.0),
        unseen_percent=None if whole.limit_mm2 is None else 100 * whole.limit_mm2 / area,
        kind_spread_percent=max(known) - min(known) if len(kinds) > 1 and known else 0.0,
        dispensed_g=weighed.balance.dispensed_g.value,
        balance_doubted=bool(weighed.balance.flags),
        cup_tared=_tared(weighing.dispensed),
        bin_tared=None if caught is None else _tared(caught),
        cup_g=fmean(weighing.usual_cup_g) if weighing.usual_cup_g else None,
        bin_g=fmean(weighing.usual_bin_g) if weighing.usual_bin_g else None,
    )  # fmt: skip


def _tared(net: Net) -> bool:
    """Whether an empty vessel was subtracted that weighs something."""
    return net.ends_g[0] > 0


def _before_g(whole: ZoneFigures) -> Quantity | None:
    """Mass of *before* by photo; None where it is unknown."""
    mass = whole.before.mass_g
    return None if mass is None else Quantity(mass, mass * OTHER_BATCH)


def _before_percent(before_g: Quantity | None, dispensed: Quantity) -> Quantity | None:
    """Mass of *before* by photo over mass dispensed, percent; None where either is unknown."""
    if before_g is None or dispensed.value <= 0:
        return None
    share = 100 * before_g.value / dispensed.value
    return Quantity(share, share * math.hypot(OTHER_BATCH, dispensed.u / dispensed.value))
