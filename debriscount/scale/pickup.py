"""Pickup by scale alone: from what was collected, from what was left, and the best of both."""

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from ..inputs.weighing import Weighing
from ..stats.quantity import Quantity
from .balance import Balance, Weights, balance_weights, mass_balance, summed
from .readings import Masses, masses, scale_errors

#: What was found on the brush.
_ON_BRUSH = ("brush", "hair")


@dataclass(frozen=True, slots=True)
class HairShares:
    """Where hair went, percent of what was dispensed; None for what was not weighed.

    ``wrap_percent`` is the brush's share of the hair picked up, brush wrap for short.
    """

    bin_percent: Quantity | None
    brush_percent: Quantity
    left_percent: Quantity | None
    wrap_percent: Quantity | None


@dataclass(frozen=True, slots=True, kw_only=True)
class WeighedPickup:
    """Pickup by scale, percent of the mass dispensed; None for what cannot be known.

    ``by_collection_percent`` is (bin + elsewhere)/dispensed, ``by_residue_percent`` 1 - swept/dispensed;
    ``pickup_percent`` the best of what there is. ``not_swept`` are the zones that a sweep left out; what was left there
    is unknown. ``swept_g`` is what lay in each zone and ``elsewhere_g`` what was on each part of the machine, grams.
    ``unaccounted_percent`` is known where the balance is closed. ``hair`` is there where hair cut off the brush was
    weighed.
    """

    pickup_percent: Quantity | None
    by_collection_percent: Quantity | None
    by_residue_percent: Quantity | None
    swept_g: Mapping[str, Quantity]
    elsewhere_g: Mapping[str, Quantity]
    elsewhere_percent: Quantity | None
    unaccounted_percent: Quantity | None
    hair: HairShares | None
    balance: Balance
    not_swept: tuple[str, ...] = ()


def weighed_pickup(
    weighing: Weighing, zones: Iterable[str] | None = None, laid_percent: Mapping[str, float] | None = None
) -> WeighedPickup:
    """Pickup by scale, and the mass balance behind it.

    Parameters
    ----------
    weighing : Weighing
        What was weighed.
    zones : iterable of str, optional
        The zones of the patch. The balance is closed only if they were all swept; the margin need not be, since nothing
        may lie there. Without a patch, open floor swept or a total stand for all, and a corner has edges beside it.
    laid_percent : mapping of str to float, optional
        Share of all debris that was laid out in each zone, percent, as far as it is known.

    Returns
    -------
    WeighedPickup

    Notes
    -----
    Uncertainties are of first order (JCGM 100, 5.2), with all covariance of one scale and of the mass dispensed, which
    raises one of the two figures where it lowers the other. The best of both weighs them by the inverse of their
    covariance. Where they differ by more than their uncertainty, mass is missing that was either picked up or left, and
    nobody knows which: pickup is then taken half way, with a rectangular distribution from one figure to the other.

    In a zone that was not swept anything may have been left from nothing to all that was laid there: half of that is
    taken, with a rectangular distribution. Where nobody knows what was laid there, leftovers tell nothing; where the
    bin was weighed, it tells more than a sweep that is not whole, and is taken alone.
    """
    errors, weighed = scale_errors(weighing), masses(weighing)
    not_swept = _not_swept(weighing, zones)
    balance = mass_balance(weighing, weighed, errors, swept_all=bool(weighing.swept) and not not_swept)
    collection, residue = _collection(weighing, weighed), _residue(weighing, weighed, not_swept, laid_percent or {})
    parts = balance_weights(weighing)
    return WeighedPickup(
        pickup_percent=_best(weighed, collection, residue, balance),
        by_collection_percent=_as_percent(weighed, collection),
        by_residue_percent=_as_percent(weighed, residue),
        swept_g={zone: weighed.combined({f"swept {zone}": 1.0}) for zone in weighing.swept},
        elsewhere_g={part: weighed.combined({part: 1.0}) for part in weighing.elsewhere},
        elsewhere_percent=_percent_of(weighed, parts.get("elsewhere"), parts["dispensed"]),
        unaccounted_percent=_percent_of(weighed, parts["unaccounted"], parts["dispensed"]) if balance.closed else None,
        hair=_hair(weighing, weighed),
        balance=balance,
        not_swept=not_swept,
    )


@dataclass(frozen=True, slots=True)
class _Share:
    """A ratio of masses: its value, its slope over each mass weighed, 1/g, and uncertainty beside that of readings."""

    value: float
    slopes: Weights
    u_more: float = 0.0


def _not_swept(weighing: Weighing, zones: Iterable[str] | None) -> tuple[str, ...]:
    """Zones that a sweep by zone left out."""
    if not weighing.swept or "total" in weighing.swept:
        return ()
    if zones is None:  # no corner without a wall, and no wall without its edge
        zones = ("open", "edge") if "corner" in weighing.swept else ("open",)
    return tuple(zone for zone in zones if zone != "margin" and zone not in weighing.swept)


def _collection(weighing: Weighing, weighed: Masses) -> _Share | None:
    parts = balance_weights(weighing)
    if "bin" not in parts:
        return None
    return _share(weighed, (summed([(1.0, parts["bin"]), (1.0, parts.get("elsewhere", {}))]), parts["dispensed"]))


def _residue(
    weighing: Weighing, weighed: Masses, not_swept: Sequence[str], laid_percent: Mapping[str, float]
) -> _Share | None:
    parts = balance_weights(weighing)
    if "swept" not in parts or not laid_percent.keys() >= set(not_swept):
        return None
    share = _share(weighed, (summed([(1.0, parts["dispensed"]), (-1.0, parts["swept"])]), parts["dispensed"]))
    most = sum(laid_percent[zone] for zone in not_swept) / 100
    return _Share(share.value - most / 2, share.slopes, most / math.sqrt(12))


def _share(weighed: Masses, parts: tuple[Weights, Weights]) -> _Share:
    above, below = (weighed.combined(weights).value for weights in parts)
    return _Share(above / below, summed([(1 / below, parts[0]), (-above / below**2, parts[1])]))


def _as_percent(weighed: Masses, share: _Share | None) -> Quantity | None:
    if share is None:
        return None
    readings = weighed.combined(share.slopes)
    u = math.hypot(readings.u, share.u_more)
    dof = readings.dof * (u / readings.u) ** 4 if readings.u > 0 else math.inf
    return Quantity(100 * share.value, 100 * u, dof)


def _best(weighed: Masses, collection: _Share | None, residue: _Share | None, balance: Balance) -> Quantity | None:
    if collection is None or residue is None or not balance.closed:
        return _as_percent(weighed, collection or residue)
    missing = balance.unaccounted_g
    if missing is not None and abs(missing.value) > missing.expanded95:
        apart = abs(residue.value - collection.value) / math.sqrt(12)
        return _as_percent(weighed, replace(_between(collection, residue, 0.5), u_more=apart))
    return _as_percent(weighed, _between(collection, residue, _second_weight(weighed, collection, residue)))


def _between(first: _Share, second: _Share, w: float) -> _Share:
    slopes = summed([(1 - w, first.slopes), (w, second.slopes)])
    return _Share((1 - w) * first.value + w * second.value, slopes)


def _second_weight(weighed: Masses, first: _Share, second: _Share) -> float:
    """Weight of the second share in the mean of least variance; from 0 to 1, beyond that only the model would speak."""
    u_first, u_second, u_apart = (
        weighed.combined(slopes).u
        for slopes in (first.slopes, second.slopes, summed([(1.0, first.slopes), (-1.0, second.slopes)]))
    )
    if u_apart == 0:
        return 0.5
    shared = (u_first**2 + u_second**2 - u_apart**2) / 2
    return min(max((u_first**2 - shared) / u_apart**2, 0.0), 1.0)


def _hair(weighing: Weighing, weighed: Masses) -> HairShares | None:
    if "hair" not in weighing.elsewhere:
        return None
    parts = balance_weights(weighing)
    wrapped: Weights = {part: 1.0 for part in _ON_BRUSH if part in weighing.elsewhere}
    whole = summed([(1.0, parts["elsewhere"]), (1.0, parts.get("bin", {}))])
    dispensed = parts["dispensed"]
    brush = _percent_of(weighed, wrapped, dispensed)
    assert brush is not None  # the reader lets no weighing in without something dispensed
    return HairShares(
        _percent_of(weighed, parts.get("bin"), dispensed),
        brush,
        _percent_of(weighed, parts.get("swept"), dispensed),
        _percent_of(weighed, wrapped, whole) if "bin" in parts else None,
    )


def _percent_of(weighed: Masses, above: Weights | None, below: Weights) -> Quantity | None:
    """Return a ratio of masses, percent; None where one was not weighed or nothing is below."""
    if above is None or weighed.combined(below).value <= 0:
        return None
    return _as_percent(weighed, _share(weighed, (above, below)))
