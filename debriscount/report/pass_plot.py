"""Plot of what each pass brought, alone and with those before it, and of what one more may bring."""

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from numpy.typing import NDArray

from ..run.records import Measurement
from .lookup import has_pass_curve
from .plots import GREY, INK, SHIFTED, UNTOUCHED, drawn, title_of
from .rounding import percent_text

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


def _points(
    axes: Axes, rows: NDArray[np.float64], color: str, form: str, label: str, aside: float, hollow: bool = False
) -> None:
    """Draw points with their intervals; rows of pass, value, lower and upper end, NaN where unknown."""
    if not len(rows):
        return
    number, value, low, high = rows.T
    reach = np.nan_to_num(np.maximum([value - low, high - value], 0))
    axes.errorbar(
        number + aside, value, reach, linestyle="none", marker=form, markersize=7, color=color,
        markerfacecolor="white" if hollow else color, capsize=3, elinewidth=1.2, label=label,
    )  # fmt: skip


def _together(measurement: Measurement) -> NDArray[np.float64]:
    rows = []
    for figures in measurement.passes:
        whole = figures.zones["patch"]
        if whole.pickup_percent is not None:
            rows.append((figures.number, whole.pickup_percent, *(whole.interval95 or (np.nan, np.nan))))
    return np.array(rows, float).reshape(-1, 4)


def _alone(measurement: Measurement) -> NDArray[np.float64]:
    rows = []
    for figures in measurement.passes:
        step = measurement.left.step(figures.number)
        if step is not None and step.of_found_percent is not None:
            rows.append((figures.number, step.of_found_percent, *(step.of_found_interval95 or (np.nan, np.nan))))
    return np.array(rows, float).reshape(-1, 4)
