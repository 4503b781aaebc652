"""Plots of a measurement: pickup pass by pass, and what stays along walls."""

import math
import warnings
from collections.abc import Callable

import numpy as np
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from numpy.typing import NDArray

from ..arrays import Floats
from ..layout.draw import plain_style
from ..leftovers.records import WallProfile, Walls
from ..leftovers.wording import length_text, share_text
from ..run.records import MeasuredShot, Measurement
from .lookup import has_pass_curve, why_of
from .palette import DARK, OKABE_ITO, hex_color
from .pictures import shot_title
from .rounding import percent_text

_DPI = 130
_LETTER_INCH = 0.092  # a middling letter of a title, 11 points


GREY = "#505050"
#: Untouched and shifted, apart to every kind of eye.
UNTOUCHED, SHIFTED = hex_color(OKABE_ITO[4]), hex_color(OKABE_ITO[0])
INK = hex_color(DARK)


def title_of(text: str, width_inch: float) -> str:
    """Return a title, cut with "…" where it is wider than the figure."""
    most = int(width_inch / _LETTER_INCH)
    return text if len(text) <= most else text[: most - 1].rstrip() + "…"


def drawn(size_inch: tuple[float, float], draw: Callable[[Figure], None]) -> NDArray[np.uint8]:
    """Draw a figure and return its pixels, sRGB of shape (H, W, 3); the same on every machine with the same versions.

    Parameters
    ----------
    size_inch : (float, float)
        Width and height; an inch is 130 px.
    draw : callable
        Fills the empty figure, with margins of its own: laying it out would take longer than drawing it.
    """
    with plain_style(), warnings.catch_warnings():
        # A name in letters that the font lacks is drawn with boxes for them.
        warnings.filterwarnings("ignore", message="Glyph .* missing from")
        figure = Figure(figsize=size_inch, dpi=_DPI)
        canvas = FigureCanvasAgg(figure)
        draw(figure)
        canvas.draw()  # type: ignore[no-untyped-call]
        pixels = np.asarray(canvas.buffer_rgba(), np.uint8)  # type: ignore[no-untyped-call]
        return np.ascontiguousarray(pixels[..., :3])


_LEAST_PERCENT = -50.0  # where grains were pushed in; lower points are cut off


def draw_passes(measurement: Measurement) -> NDArray[np.uint8]:
    """Draw the pickup of all passes together and of what each found, with 95 % intervals.

    Parameters
    ----------
    measurement : Measurement
        A run for which `has_pass_curve` holds.

    Returns
    -------
    ndarray of uint8, shape (H, W, 3)
        sRGB.

    Raises
    ------
    ValueError
        There is no pass curve.
    """
    if not has_pass_curve(measurement):
        raise ValueError("a pass curve needs two passes whose steps are known")

    width, height = max(6.5, 0.9 * len(measurement.passes) + 2.5), 4.4

    def draw(figure: Figure) -> None:
        axes = figure.add_axes((0.7 / width, 0.6 / height, 1 - 0.85 / width, 1 - 1.05 / height))
        _draw_curve(axes, measurement)
        axes.set_title(title_of(f"Pass by pass \N{EN DASH} {measurement.patch.name}", width), fontsize=11)

    return drawn((width, height), draw)


def _draw_curve(axes: Axes, measurement: Measurement) -> None:
    together, alone = _together(measurement), _alone(measurement)
    _points(axes, alone, SHIFTED, "s", "of what the pass found", 0.1)
    _points(axes, together, UNTOUCHED, "o", "together", 0.0)
    axes.plot(*together[:, :2].T, color=UNTOUCHED, linewidth=1.6)
    for x, y in together[:, :2]:
        axes.annotate(percent_text(y), (x, y), (-6, 5), textcoords="offset points", ha="right", fontsize=9, color=INK)
    for x, y in alone[1:, :2]:  # the first found what all together are counted by
        axes.annotate(
            percent_text(y), (x + 0.1, y), (9, 0), textcoords="offset points", va="center", fontsize=9, color=INK
        )
    last, further = len(measurement.passes), measurement.left.further
    if further is not None:
        ends = np.array([[last + 1, further.together_percent, *further.interval95]])
        if len(together) and together[-1, 0] == last:
            axes.plot([last, last + 1], [together[-1, 1], further.together_percent], color=UNTOUCHED, linestyle="--")
        _points(axes, ends, UNTOUCHED, "o", "one more pass, extrapolated", 0.0, hollow=True)
        axes.annotate(
            percent_text(further.together_percent), (last + 1, further.together_percent), (8, 0),
            textcoords="offset points", va="center", fontsize=9, color=INK,
        )  # fmt: skip
        last += 1
    shown = np.nan_to_num(np.concatenate([together[:, 1:], alone[:, 1:]]).ravel())
    # Where a point lies near the axis, its label needs room below.
    room = 8.0 if (shown < 5).any() else 0.0
    lowest = max(_LEAST_PERCENT, 1.1 * float(shown.min(initial=0.0)) - room)
    highest = max(104.0, float(shown.max(initial=0.0)) + 2)
    axes.set(xlim=(0.5, last + 0.6), ylim=(lowest, highest), xlabel="pass", ylabel="pickup, %")
    axes.set_xticks(range(1, last + 1))
    axes.axhline(100, color=GREY, linewidth=0.8, linestyle=":")
    axes.spines[["top", "right"]].set_visible(False)
    if axes.get_legend_handles_labels()[0]:
        axes.legend(loc="lower right", fontsize=9, frameon=False)


def _points(axes: Axes, rows: Floats, color: str, form: str, label: str, aside: float, hollow: bool = False) -> None:
    """Draw points with their intervals; rows of pass, value, lower and upper end, NaN where unknown."""
    if not len(rows):
        return
    number, value, low, high = rows.T
    reach = np.nan_to_num(np.maximum([value - low, high - value], 0))
    axes.errorbar(
        number + aside, value, reach, linestyle="none", marker=form, markersize=7, color=color,
        markerfacecolor="white" if hollow else color, capsize=3, elinewidth=1.2, label=label,
    )  # fmt: skip


def _together(measurement: Measurement) -> Floats:
    rows = []
    for figures in measurement.passes:
        whole = figures.zones["patch"]
        if whole.pickup_percent is not None:
            rows.append((figures.number, whole.pickup_percent, *(whole.interval95 or (np.nan, np.nan))))
    return np.array(rows, float).reshape(-1, 4)


def _alone(measurement: Measurement) -> Floats:
    rows = []
    for figures in measurement.passes:
        step = measurement.left.step(figures.number)
        if step is not None and step.of_found_percent is not None:
            rows.append((figures.number, step.of_found_percent, *(step.of_found_interval95 or (np.nan, np.nan))))
    return np.array(rows, float).reshape(-1, 4)


# Inches.
_WIDE, _HIGH, _LEFT, _RIGHT, _TOP, _BOTTOM, _BETWEEN_X, _BETWEEN_Y = 4.4, 2.6, 0.7, 0.25, 0.9, 0.95, 0.75, 0.85
_MOST_PERCENT = 150.0  # where more lies than before; a bin with next to none before may show any number


def draw_walls(shot: MeasuredShot, measurement: Measurement) -> NDArray[np.uint8]:
    """Draw what a pass left along the walls.

    Parameters
    ----------
    shot : MeasuredShot
        A shot after a pass of which the walls were looked at.
    measurement : Measurement
        The run that it belongs to.

    Returns
    -------
    ndarray of uint8, shape (H, W, 3)
        sRGB: for each wall, how much of what lay at a distance stayed, untouched or shifted, and how far from the
        foot debris stays as a rule, with its 95 % interval.

    Raises
    ------
    ValueError
        Nothing is known of the walls.
    """
    why = why_of(shot, measurement)
    if why is None or not why.walls.walls:
        raise ValueError(f"{shot.name!r} has no walls to draw")
    walls, title = why.walls, shot_title(shot, measurement)
    columns = min(2, len(walls.walls))
    rows = -(-len(walls.walls) // columns)

    wide = _WIDE if columns > 1 else 1.3 * _WIDE
    width = _LEFT + _RIGHT + columns * wide + (columns - 1) * _BETWEEN_X
    height = _TOP + _BOTTOM + rows * _HIGH + (rows - 1) * _BETWEEN_Y

    def draw(figure: Figure) -> None:
        most = min(_MOST_PERCENT, max([105.0, *(1.05 * _shares(wall).max(initial=0.0) for wall in walls.walls)]))
        shown: dict[str, Artist] = {}
        for number, profile in enumerate(walls.walls):
            row, column = divmod(number, columns)
            left, bottom = _LEFT + column * (wide + _BETWEEN_X), height - _TOP - _HIGH - row * (_HIGH + _BETWEEN_Y)
            axes = figure.add_axes((left / width, bottom / height, wide / width, _HIGH / height))
            _draw_wall(axes, profile, most)
            handles, labels = axes.get_legend_handles_labels()
            shown |= dict(zip(labels, handles, strict=True))
        figure.legend(list(shown.values()), list(shown), loc="lower center", ncols=5, fontsize=9, frameon=False)
        heading = title_of(f"What stays along the walls \N{EN DASH} {title}", width)
        words = f"{heading}\n{_corner_words(walls)}"
        figure.suptitle(words.rstrip(), y=1 - 0.1 / height, va="top", fontsize=11)

    return drawn((width, height), draw)


def _shares(profile: WallProfile) -> Floats:
    """What stayed of the debris of each bin, percent; 0 where none lay there."""
    before = np.array(profile.before_mm2, float)
    left = np.array(profile.untouched_mm2, float) + np.array(profile.shifted_mm2, float)
    shares = np.zeros(len(left))
    np.divide(100 * left, before, out=shares, where=before > 0)
    return shares


def _draw_wall(axes: Axes, profile: WallProfile, most: float) -> None:
    edges, before = np.array(profile.edges_mm, float), np.array(profile.before_mm2, float)
    some = before > 0
    starts, widths = edges[:-1][some], np.diff(edges)[some]
    # Estimates of fine debris may stray below nothing; a bar does not.
    untouched = np.maximum(100 * np.array(profile.untouched_mm2, float)[some] / before[some], 0)
    shifted = np.maximum(100 * np.array(profile.shifted_mm2, float)[some] / before[some], 0)
    axes.bar(
        starts, untouched, widths, align="edge", color=UNTOUCHED, edgecolor="white", linewidth=0.4, label="untouched"
    )
    axes.bar(
        starts, shifted, widths, untouched, align="edge", facecolor=SHIFTED, edgecolor=INK, linewidth=0.4, hatch="////",
        label="shifted",
    )  # fmt: skip
    for start, width in zip(edges[:-1][~some], np.diff(edges)[~some], strict=True):
        axes.text(start + width / 2, 2, "\N{EN DASH}", ha="center", color=GREY, fontsize=8)
    if profile.beyond_percent is not None and math.isfinite(profile.beyond_percent):
        axes.axhline(profile.beyond_percent, color=GREY, linewidth=1, linestyle=":", label="stays on open floor")
        far = _shares(profile)[len(before) // 2 :].max(initial=profile.beyond_percent)
        axes.annotate(
            share_text(profile.beyond_percent) or "", (1, min(far, 0.9 * most)), (-3, 4),
            xycoords=("axes fraction", "data"), textcoords="offset points", ha="right", fontsize=9, color=INK,
        )  # fmt: skip
    title = f"{profile.wall} wall: no strip is seen in which most stays"
    if profile.gap_mm is not None:
        title = f"{profile.wall} wall: debris stays up to {length_text(profile.gap_mm, profile.gap_interval95)}"
        axes.axvline(profile.gap_mm, color=INK, linewidth=1.4, linestyle="--", label="up to here it stays")
        if profile.gap_interval95 is not None:
            axes.axvspan(*profile.gap_interval95, facecolor=GREY, alpha=0.22, edgecolor="none", label="95 % interval")
    axes.set_title(title, fontsize=10)
    axes.set(
        xlim=(edges[0], edges[-1]),
        ylim=(0, most),
        xlabel="distance from the foot, mm",
        ylabel="stayed, % of what lay there",
    )
    axes.spines[["top", "right"]].set_visible(False)


def _corner_words(walls: Walls) -> str:
    return "; ".join(
        f"corner {' and '.join(corner.walls)}: up to {length_text(corner.radius_mm, corner.radius_interval95)}"
        for corner in walls.corners
        if corner.radius_mm is not None
    )
