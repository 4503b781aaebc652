"""Pickup from amounts: what a zone lost, what of it was picked up, and what a pickup can be."""

from collections.abc import Mapping
from dataclasses import replace

from .detection import Limits, most_left
from .records import Amount, ZoneFigures
from .trust import untold
from .zones import not_negative


def gone_percent(before: Amount, after: Amount) -> float | None:
    """Share of *before* that is no longer in the zone, percent; None for a zone that held nothing.

    100 (1 - A_after / A_before); negative where debris was pushed in.
    """
    if before.area_mm2 <= 0:
        return None
    return 100 * (1 - after.area_mm2 / before.area_mm2)


def more_than_percent(before: Amount, left_mm2: float, limits: Limits) -> float | None:
    """Pickup that can be promised where less than the detection limit was seen to be left, percent.

    None from the detection limit on, and where it would promise nothing.
    """
    most = most_left(left_mm2, limits)
    if left_mm2 >= limits.detection or most >= before.area_mm2:
        return None
    return 100 * (1 - most / before.area_mm2)


def zone_figures(
    before: Mapping[str, Amount], after: Mapping[str, Amount], limits: Mapping[str, Limits]
) -> dict[str, ZoneFigures]:
    """Figures of every zone after a pass.

    Parameters
    ----------
    before, after : mapping of str to Amount
        Amounts by zone, one of them "patch".
    limits : mapping of str to Limits
        Of the leftovers' area by zone, mm²; a zone whose limits are unknown is missing.

    Returns
    -------
    dict of str to ZoneFigures

    Notes
    -----
    Debris flung into the margin has not been picked up: the margin's gain counts as left in the patch.
    Debris that the margin lost was never in the patch and changes nothing.
    """
    gain = 0.0
    if "margin" in before:
        gain = max(0.0, after["margin"].area_mm2 - before["margin"].area_mm2)
    figures = {}
    for name, start in before.items():
        gone = gone_percent(start, after[name])
        pickup = gone
        left_mm2 = after[name].area_mm2
        if name == "patch" and gone is not None:
            pickup = gone - 100 * gain / start.area_mm2
            left_mm2 += gain
        found = limits.get(name)
        figures[name] = ZoneFigures(
            before=start,
            after=after[name],
            gone_percent=gone,
            pickup_percent=pickup,
            more_than_percent=None if found is None else more_than_percent(start, left_mm2, found),
            limit_mm2=None if found is None else found.detection,
        )
    return figures


TAKEN_OFF = "more had to be taken off for the bare floor than debris was seen"


def possible(zones: Mapping[str, ZoneFigures]) -> dict[str, ZoneFigures]:
    """Zones' figures within what can be.

    Parameters
    ----------
    zones : mapping of str to ZoneFigures
        By name, one of them "patch"; of all kinds or of one.

    Returns
    -------
    dict of str to ZoneFigures

    Notes
    -----
    What the bare floor shows as debris is taken off, so that areas may come out below 0. Up to the detection limit that
    is chance, and the area is 0; beyond, or where all of the interval lies above 100 %, something is wrong with what
    was taken off, and the pickup is not given. More than lay anywhere cannot have been pushed into a zone, which bounds
    the interval from below, unless debris did grow.
    """
    everywhere = sum(max(zones[name].before.area_mm2, 0.0) for name in ("patch", "margin") if name in zones)
    return {name: _possible(figures, everywhere) for name, figures in zones.items()}


def _possible(figures: ZoneFigures, everywhere_mm2: float) -> ZoneFigures:
    pickup, interval = figures.pickup_percent, figures.interval95
    start, left = figures.before.area_mm2, figures.after.area_mm2
    figures = replace(figures, before=not_negative(figures.before), after=not_negative(figures.after))
    if pickup is None:
        return figures
    beyond = figures.limit_mm2 is not None and left < -figures.limit_mm2
    if beyond or (interval is not None and interval[0] > 100):
        return untold(figures, TAKEN_OFF)
    if interval is not None:
        least = 100 * (start - everywhere_mm2) / start
        interval = interval[0] if pickup < least else max(interval[0], least), min(interval[1], 100.0)
    gone = figures.gone_percent
    return replace(
        figures,
        gone_percent=None if gone is None else min(gone, 100.0),
        pickup_percent=min(pickup, 100.0),
        interval95=interval,
    )
