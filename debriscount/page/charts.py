"""What a page's charts show and where: places in percent of a chart's width and height, so that it fits any screen."""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from ..report.rounding import UNKNOWN

Interval = tuple[float, float]

#: Distances between ticks, times a power of ten, and how many of them there may be.
_STEPS, _MOST_TICKS = (1, 2, 5), 6
_CEILING = 100.0


@dataclass(frozen=True, slots=True)
class Axis:
    """A scale from ``low`` to ``high``; ``ticks`` are places, percent of its length, with their labels."""

    low: float
    high: float
    ticks: tuple[tuple[float, str], ...]

    def at(self, value: float) -> float:
        """Place of a value, percent of the axis' length; one beyond its ends lies at the end."""
        place = 100 * (value - self.low) / (self.high - self.low)
        return round(min(max(place, 0.0), 100.0), 2)


@dataclass(frozen=True, slots=True, kw_only=True)
class Dot:
    """A figure with its interval, as places; ``y`` in pixels below the row's top."""

    x: float
    low: float | None
    high: float | None
    y: int
    words: str
    doubtful: bool = False
    at_least: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """A line of a chart of dots: a group of figures, with their mean where there are several."""

    label: str
    dots: tuple[Dot, ...]
    height: int
    mean: Dot | None = None
    words: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class DotChart:
    """Figures side by side on one axis."""

    title: str
    axis: Axis
    rows: tuple[Row, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Figure:
    """A figure to be drawn, in its unit."""

    words: str
    value: float
    interval95: Interval | None = None
    doubtful: bool = False
    at_least: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Group:
    """Figures that belong together, and their mean if there is one."""

    label: str
    figures: tuple[Figure, ...]
    mean: Figure | None = None


@dataclass(frozen=True, slots=True)
class Bin:
    """Pickup at a distance: places in percent of the chart, and ``words``, its figure.

    ``y`` is where it lies, ``top`` and ``height`` hold its 95 % interval; None where they are not known.
    """

    x: float
    width: float
    y: float | None
    top: float | None
    height: float | None
    start_mm: float
    end_mm: float
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class WallChart:
    """Pickup against the distance from a wall; ``open_y`` is where open floor's lies."""

    wall: str
    bins: tuple[Bin, ...]
    distances: Axis
    percents: Axis
    open_y: float | None
    open_words: str
    end_mm: float


_LEAST_PERCENT = -50.0  # where debris was pushed in; lower places are cut off
#: From nothing to all.
_WHOLE = Axis(0.0, 100.0, tuple((float(at), str(at)) for at in range(0, 101, 20)))
#: Height of a dot's line and of what a row has above and below, px.
_LINE, _ROOM = 12, 14
#: Dots above each other in a row before they begin again at its top.
_MOST_LINES = 8


def axis(values: Iterable[float], *, least_range: float = 5.0, ceiling: float | None = _CEILING) -> Axis:
    """Return a scale that holds values, with round ends.

    Parameters
    ----------
    values : iterable of float
        At least one.
    least_range : float
        How much it shows at least.
    ceiling : float or None
        What no value lies above; the scale ends there if it comes near.
    """
    known = [value for value in values if math.isfinite(value)]
    low, high = min(known), max(known)
    missing = max(0.0, least_range - (high - low)) / 2
    room = 0.04 * (high - low)
    low, high = low - missing - room, high + missing + room
    step = _step(high - low)
    low, high = step * math.floor(low / step), step * math.ceil(high / step)
    if ceiling is not None and high > ceiling >= max(known):
        high = ceiling
        low = min(low, ceiling - step)
    decimals = max(0, -math.floor(math.log10(step)))
    number = round((high - low) / step)
    marks = [low + i * step for i in range(number + 1) if low + i * step <= high + step / 1e6]
    ticks = tuple((round(100 * (mark - low) / (high - low), 2), f"{mark + 0.0:.{decimals}f}") for mark in marks)
    return Axis(low, high, ticks)


def _step(extent: float) -> float:
    power = 10.0 ** math.floor(math.log10(extent / _MOST_TICKS))
    return next(power * step for step in (*_STEPS, 10) if extent / (power * step) <= _MOST_TICKS)


def dot_chart(title: str, groups: Sequence[Group]) -> DotChart | None:
    """Lay figures out on one axis; None where there are none."""
    ends = [
        end
        for group in groups
        for figure in (*group.figures, *([group.mean] if group.mean else []))
        for end in (figure.value, *(figure.interval95 or ()))
    ]
    if not ends:
        return None
    scale = axis(ends)
    return DotChart(title=title, axis=scale, rows=tuple(_row(group, scale) for group in groups if group.figures))


def _row(group: Group, scale: Axis) -> Row:
    lines = min(len(group.figures), _MOST_LINES)
    first = _ROOM + (_LINE if group.mean is not None else 0)
    dots = tuple(
        _dot(figure, scale, first + _LINE * (number % _MOST_LINES)) for number, figure in enumerate(group.figures)
    )
    mean = None if group.mean is None else _dot(group.mean, scale, _ROOM)
    return Row(
        label=group.label,
        dots=dots,
        height=first + _LINE * (lines - 1) + _ROOM,
        mean=mean,
        words="" if group.mean is None else group.mean.words,
    )


def _dot(figure: Figure, scale: Axis, y: int) -> Dot:
    low, high = (None, None) if figure.interval95 is None else (scale.at(end) for end in figure.interval95)
    return Dot(
        x=scale.at(figure.value),
        low=low,
        high=high,
        y=y,
        words=figure.words,
        doubtful=figure.doubtful,
        at_least=figure.at_least,
    )


def wall_chart(
    wall: str,
    edges_mm: Sequence[float],
    pickups: Sequence[tuple[float | None, Interval | None]],
    open_percent: float | None,
) -> WallChart | None:
    """Lay out pickup against the distance from a wall.

    Parameters
    ----------
    wall : str
        Its side.
    edges_mm : sequence of N + 1 floats
        Distances that bound the bins.
    pickups : sequence of N (float or None, (float, float) or None)
        Percent, None where nothing lay, and its 95 % interval.
    open_percent : float or None
        Pickup of open floor.

    Returns
    -------
    WallChart or None
        None where nothing lay.
    """
    # What lies there more than before has been pushed in; a bin that held next to nothing may show any number.
    known = [max(pickup, _LEAST_PERCENT) for pickup, _ in pickups if pickup is not None]
    if not known:
        return None
    percents = axis([*known, 100.0]) if min(known) < 0 else _WHOLE
    distances = axis([edges_mm[0], edges_mm[-1]], ceiling=None)
    distances = Axis(edges_mm[0], edges_mm[-1], _within(distances, edges_mm[0], edges_mm[-1]))

    def down(percent: float) -> float:
        return round(100 - percents.at(min(max(percent, percents.low), percents.high)), 2)

    bins = []
    for start, end, (pickup, interval) in zip(edges_mm[:-1], edges_mm[1:], pickups, strict=True):
        x = distances.at(start)
        words = UNKNOWN if pickup is None else f"{pickup:.0f} %"
        if interval is not None:
            words += f" ({interval[0]:.0f} to {interval[1]:.0f} %)"
        bins.append(
            Bin(
                x,
                round(distances.at(end) - x, 2),
                None if pickup is None else down(pickup),
                None if interval is None else down(interval[1]),
                None if interval is None else round(down(interval[0]) - down(interval[1]), 2),
                start,
                end,
                words,
            )
        )
    return WallChart(
        wall=wall,
        bins=tuple(bins),
        distances=distances,
        percents=percents,
        open_y=None if open_percent is None else down(open_percent),
        open_words="" if open_percent is None else f"{open_percent:.0f} %",
        end_mm=edges_mm[-1],
    )


def _within(scale: Axis, low: float, high: float) -> tuple[tuple[float, str], ...]:
    """Ticks of a scale that lie between two values, at their places between these."""
    values = [scale.low + place / 100 * (scale.high - scale.low) for place, _ in scale.ticks]
    return tuple(
        (round(100 * (value - low) / (high - low), 2), label)
        for value, (_, label) in zip(values, scale.ticks, strict=True)
        if low - 1e-9 <= value <= high + 1e-9
    )
