"""Plots of a measurement: how they are drawn, and pickup pass by pass."""

import textwrap
import warnings
from collections.abc import Callable

import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from numpy.typing import NDArray

from ..arrays import Floats
from ..layout.draw import plain_style
from ..run.records import Measurement
from .lookup import has_pass_curve
from .palette import DARK, OKABE_ITO, hex_color
from .rounding import percent_text

_DPI = 130
_LETTER_INCH = 0.092  # a middling letter of a title, 11 points


GREY = "#505050"
#: Untouched and shifted, apart to every kind of eye.
UNTOUCHED, SHIFTED = hex_color(OKABE_ITO[4]), hex_color(OKABE_ITO[0])
INK = hex_color(DARK)


def in_lines(text: str, width_inch: float, points: float = 11) -> str:
    """Break a text into lines that a figure of that width has room for."""
    # A number and its unit stay together.
    text = text.replace(" %", "\N{NO-BREAK SPACE}%").replace(" mm", "\N{NO-BREAK SPACE}mm")
    return "\n".join(textwrap.wrap(text, max(10, int(width_inch / (_LETTER_INCH * points / 11)))))


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

    width = max(6.5, 0.9 * len(measurement.passes) + 2.5)
    title = in_lines(f"Pass by pass \N{EN DASH} {measurement.patch.title}", width)
    above = 0.45 + 0.19 * title.count("\n")  # inches
    height = 3.95 + above

    def draw(figure: Figure) -> None:
        axes = figure.add_axes((0.7 / width, 0.6 / height, 1 - 0.85 / width, 1 - (0.6 + above) / height))
        _draw_curve(axes, measurement)
        axes.set_title(title, fontsize=11)

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
