"""Words that summary and comparison of runs share: figures rounded by what they are known to, and their names."""

import math
from collections.abc import Sequence

from ..compare.figures import FigureKind
from ..compare.labels import SETTING
from ..compare.selected import Choice, Selected
from ..flags import listed
from ..printable import printable
from ..stats.quantity import decimals_beside
from .rounding import UNKNOWN, more_than_text

#: Of figures that nothing says how well they are known.
_USUAL_DECIMALS = 1
#: Names in a list, before the rest is counted.
_MOST_NAMES = 12


def decimals_by(interval: tuple[float, float] | None, *others: float | None) -> int:
    """Decimals for figures with a 95 % interval or, without one, with one of several half widths."""
    half = None if interval is None else (interval[1] - interval[0]) / 2
    known = next((h for h in (half, *others) if h is not None and h > 0 and math.isfinite(h)), None)
    return _USUAL_DECIMALS if known is None else min(decimals_beside(known), 3)


def number_text(value: float | None, decimals: int, *, sign: bool = False) -> str:
    """A number for people; never minus zero."""
    if value is None or not math.isfinite(value):
        return UNKNOWN
    return f"{round(value, decimals) + 0.0:{'+' if sign else ''}.{decimals}f}"


def range_text(interval: tuple[float, float] | None, decimals: int) -> str:
    """An interval for people, as "2.1 to 9.1"."""
    return UNKNOWN if interval is None else " to ".join(number_text(end, decimals) for end in interval)


def with_unit(text: str, kind: FigureKind) -> str:
    """A figure with its unit."""
    return f"{text} {kind.unit}" if kind.unit and text != UNKNOWN else text


def mean_text(mean: float, at_ceiling: int, decimals: int, kind: FigureKind) -> str:
    """A mean with its unit; one with runs at the ceiling in it is "more than" what was promised of them."""
    return more_than_text(mean) if at_ceiling else with_unit(number_text(mean, decimals), kind)


def unit_of_difference(kind: FigureKind) -> str:
    """Percentages differ by points."""
    return "points" if kind.unit == "%" else kind.unit


def figure_words(selected: Selected, choice: Choice) -> str:
    """What is looked at, as "pickup of edge and corner, red lentils, after pass 1"."""
    of = listed(list(choice.zones)) if choice.zones else "the patch"
    if choice.zones is None and "zone" in selected.keys:
        of = "each zone"
    words = selected.kind.name.replace("-", " ")
    if any(item.figure.zone for items in selected.groups.values() for item in items[:1]):
        words += f" of {of}"
    words += f", {choice.kind}" if choice.kind else ""
    words += f", after pass {choice.number}" if choice.number else ""
    return printable(words)


def keys_words(keys: Sequence[str]) -> str:
    """Keys as they head columns: "brush" for "setting.brush"."""
    return listed([printable(key.removeprefix(SETTING)) for key in keys])


def names_text(names: Sequence[str]) -> str:
    """Names in a list that does not run on."""
    shown = [printable(name) for name in names[:_MOST_NAMES]]
    rest = len(names) - len(shown)
    return ", ".join(shown) + (f" and {rest} more" if rest else "")


def plural(number: int, word: str) -> str:
    """A number of things: "1 run", "4 runs"."""
    return f"{number} {word}{'s' * (number != 1)}"


def left_out_text(selected: Selected) -> list[str]:
    """Who is not counted, and why: a sentence a reason."""
    by_reason: dict[str, list[str]] = {}
    for name, reason in selected.left_out.items():
        by_reason.setdefault(reason, []).append(name)
    return [f"Not counted, {printable(reason)}: {names_text(names)}." for reason, names in by_reason.items()]
