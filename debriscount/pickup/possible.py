"""What a pickup can be: not above 100 %, and below 0 only where debris may have been pushed in."""

from collections.abc import Mapping
from dataclasses import replace

from .records import ZoneFigures
from .trust import untold
from .zones import not_negative

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
