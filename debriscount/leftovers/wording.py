"""Numbers in the sentences about leftovers: as many digits as they carry, and never one that cannot be."""

import math

from ..stats.proportion import Interval
from ..stats.quantity import Z95

_MOST_DECIMALS = 2


def share_text(value: float | None, interval: Interval | None = None) -> str | None:
    """Word a share that lies between 0 and 100 percent.

    Parameters
    ----------
    value : float or None
        The share, percent.
    interval : (float, float) or None
        Its 95 % interval.

    Returns
    -------
    str or None
        "31 % (29 to 33 %)"; "at most 3 %" or "at least 97 %" where the interval reaches 0 or 100; None where the share
        is unknown, cannot be, or may be anything.
    """
    if value is None or not math.isfinite(value):
        return None
    if interval is None or not all(map(math.isfinite, interval)):
        return _alone(value) if 0 <= value <= 100 else None
    low, high = max(interval[0], 0.0), min(interval[1], 100.0)
    if low > high or (low == 0 and high == 100):
        return None
    return _alone(low) if low == high else _within(value, low, high)


def length_text(value_mm: float, interval: Interval | None = None) -> str:
    """Word a length as "24 mm" or "24 mm (22 to 26 mm)"; a decimal where it is known better than to a millimetre."""
    if interval is None or not all(map(math.isfinite, interval)):
        return f"{value_mm:.0f} mm"
    low, high = max(interval[0], 0.0), interval[1]
    decimals = min(_decimals(high - low), 1)
    return f"{value_mm:.{decimals}f} mm ({low:.{decimals}f} to {high:.{decimals}f} mm)"


def around(value: float, u: float) -> Interval:
    """95 % interval of a normal estimate."""
    return value - Z95 * u, value + Z95 * u


def _within(value: float, low: float, high: float) -> str:
    decimals = _decimals(high - low)
    # Limits are rounded so that they stay true.
    if low == 0:
        return f"at most {math.ceil(high * 10**decimals) / 10**decimals:.{decimals}f} %"
    if high == 100:
        return f"at least {math.floor(low * 10**decimals) / 10**decimals:.{decimals}f} %"
    value = min(max(value, low), high)
    while decimals < _MOST_DECIMALS and round(value, decimals) in (0, 100):
        decimals += 1
    if round(low, decimals) == 0:
        return f"{value:.{decimals}f} % (at most {high:.{decimals}f} %)"
    if round(high, decimals) == 100:
        return f"{value:.{decimals}f} % (at least {low:.{decimals}f} %)"
    return f"{value:.{decimals}f} % ({low:.{decimals}f} to {high:.{decimals}f} %)"


def _decimals(width: float) -> int:
    """Decimals that a 95 % interval of such a width lets a figure have: its standard uncertainty's first digit."""
    if width >= 2:
        return 0
    # 0.095 and more round to 0.1.
    return _MOST_DECIMALS if width <= 0.04 else min(_MOST_DECIMALS, math.ceil(-math.log10(width / 4 / 0.95)))


def _alone(value: float) -> str:
    # What would be rounded to none or all is told otherwise, and digits change where rounding adds one.
    if value < 0.1:
        return "less than 0.1 %" if value > 0 else "0 %"
    if 99.9 < value < 100:
        return "more than 99.9 %"
    if value < 9.95 or 99.5 <= value < 100:
        return f"{value:.1f} %"
    return f"{value:.0f} %"
