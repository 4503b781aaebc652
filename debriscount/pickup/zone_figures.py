"""Pickup from amounts: what a zone lost, and what of it was picked up."""

from collections.abc import Mapping

from .detection import Limits, most_left
from .records import Amount, ZoneFigures


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
            start,
            after[name],
            gone,
            pickup,
            more_than_percent=None if found is None else more_than_percent(start, left_mm2, found),
            limit_mm2=None if found is None else found.detection,
        )
    return figures
