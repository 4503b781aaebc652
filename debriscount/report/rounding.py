"""How figures are worded, the same in tables and pictures."""

import math
from decimal import ROUND_FLOOR, Decimal

from ..pickup.records import ZoneFigures
from ..serialize import PERCENT_DECIMALS, rounded

MORE_THAN = "more than"
UNKNOWN = "\N{EN DASH}"
PUSHED_IN = "more debris lies here than before: pushed in"


def percent_text(value: float | None) -> str:
    """Percentage for people, one decimal; what is not quite 100 never reads as 100."""
    known = rounded(value, PERCENT_DECIMALS)
    if known is None:
        return UNKNOWN
    if 99.95 <= known < 100:
        return "> 99.9 %"
    return f"{round(known, 1) + 0.0:.1f} %"


def more_than_text(value: float) -> str:
    """What is promised at least, as "more than 99.6 %": rounded down, and never to 100.

    One decimal, or as many as it takes to tell the value from 100.
    """
    decimals = 1
    while decimals < PERCENT_DECIMALS and round(value, decimals) >= 100:
        decimals += 1
    return f"{MORE_THAN} {_rounded_down(value, decimals)} %"


def _rounded_down(value: float, decimals: int) -> Decimal:
    return Decimal(repr(float(value))).quantize(Decimal(1).scaleb(-decimals), ROUND_FLOOR)


def pickup_text(figures: ZoneFigures) -> str:
    """Pickup of a zone for people: the figure, or what is promised where next to nothing is left."""
    if figures.more_than_percent is not None and math.isfinite(figures.more_than_percent):
        return more_than_text(figures.more_than_percent)
    return percent_text(figures.pickup_percent)


def interval_text(interval: tuple[float, float] | None, down: bool = False) -> str:
    """Interval for people, as "88.9 to 91.2 %"; ``down`` rounds its lower end down, as `more_than_text` does."""
    if interval is None or not all(math.isfinite(end) for end in interval):
        return UNKNOWN
    low, high = (round(end, 1) + 0.0 for end in interval)
    return f"{_rounded_down(interval[0], 1) if down else f'{low:.1f}'} to {high:.1f} %"


def amount_text(value: float | None, decimals: int = 0) -> str:
    """Amount for people with its thousands apart, as "12 345"."""
    known = rounded(value, decimals)
    return UNKNOWN if known is None else f"{known:,.{decimals}f}".replace(",", " ")


def area_text(area_mm2: float | None) -> str:
    """Area for people, without its unit; a decimal only below 100 mm²."""
    return amount_text(area_mm2, 1 if area_mm2 is not None and abs(area_mm2) < 100 else 0)
