"""Photo against scale as a picture: the pickups against one another, and their differences after Bland and Altman."""

import io
from typing import Literal

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from ..arrays import Mask
from ..layout.draw import MM_PER_INCH, plain_style
from ..scale.agreement import COVERAGE, verdict_of
from ..scale.many import ManyRuns
from ..stats.quantity import Quantity
from .palette import DARK, OKABE_ITO, hex_color
from .plots import GREY

_SIZE_MM = (260.0, 120.0)
_DPI = 160


#: Verdicts differ in form as well as in colour, and in colours that are apart to every kind of eye.
COLORS = {"agree": OKABE_ITO[4], "doubtful": DARK, "disagree": OKABE_ITO[5], "too uncertain": OKABE_ITO[1]}
_FORMS = {"agree": "o", "doubtful": "^", "disagree": "s", "too uncertain": "D"}


def plot_bytes(many: ManyRuns, kind: Literal["png", "svg"]) -> bytes:
    """Return the plot as a file's content; the same runs make the same bytes.

    Parameters
    ----------
    many : ManyRuns
        One run or more.
    kind : {"png", "svg"}
        SVG text is drawn as outlines, so that every viewer shows the same.

    Returns
    -------
    bytes
    """
    content = io.BytesIO()
    with plain_style():
        figure = _figure(many)
        if kind == "png":
            figure.savefig(content, format="png", dpi=_DPI, metadata={"Software": "debriscount agreement"})
            return content.getvalue()
        about = {"Title": "debriscount agreement", "Creator": None, "Date": None, "Format": None, "Type": None}
        figure.savefig(content, format="svg", metadata=about)
    # The title stands too far down to be found near the start.
    return content.getvalue().replace(b"?>", b"?>\n<!-- debriscount agreement -->", 1)


def _figure(many: ManyRuns) -> Figure:
    figure = Figure(figsize=(_SIZE_MM[0] / MM_PER_INCH, _SIZE_MM[1] / MM_PER_INCH), layout="constrained")
    left, right = figure.subplots(1, 2, width_ratios=(1, 1.35))
    _draw_pickups(left, many)
    _draw_differences(right, many)
    for axes in (left, right):
        axes.spines[["top", "right"]].set_visible(False)
        axes.set_axisbelow(True)
    return figure


def _draw_pickups(axes: Axes, many: ManyRuns) -> None:
    """Photo against scale, each with its expanded uncertainty."""
    photo, scale = np.array([r.photo.value for r in many.runs]), np.array([r.scale.value for r in many.runs])
    u_photo, u_scale = np.array([r.photo.u for r in many.runs]), np.array([r.scale.u for r in many.runs])
    for word, marker in _FORMS.items():
        color, chosen = hex_color(COLORS[word]), _chosen(many, word)
        if chosen.any():
            axes.errorbar(
                scale[chosen], photo[chosen], COVERAGE * u_photo[chosen], COVERAGE * u_scale[chosen],
                linestyle="none", marker=marker, markersize=6, color=color, markeredgecolor="white",
                markeredgewidth=0.6, elinewidth=1, label=word,
            )  # fmt: skip
    low, high = _square_range(photo, scale, COVERAGE * u_photo, COVERAGE * u_scale)
    axes.plot([low, high], [low, high], color=GREY, linewidth=1, linestyle="--", label="equal", zorder=1)
    if many.line is not None:
        x = np.array([low, high])
        y = many.line.intercept + many.line.slope * x
        axes.plot(x, y, color=GREY, linewidth=1.2, label=f"fitted, slope {many.line.slope:.2f}", zorder=1)
    axes.set(xlim=(low, high), ylim=(low, high), xlabel="pickup by scale, %", ylabel="pickup by photo, %")
    axes.set_aspect("equal")
    axes.legend(loc="upper left", fontsize=8, frameon=False)
    axes.set_title("bars hold the truth in about 95 of 100 cases", fontsize=9, color=GREY)


def _chosen(many: ManyRuns, word: str) -> Mask:
    """Which runs have this verdict."""
    return np.array([verdict_of(run.photo, run.scale) == word for run in many.runs])


def _square_range(*values: np.ndarray) -> tuple[float, float]:
    photo, scale, wide_photo, wide_scale = values
    low = float(min((photo - wide_photo).min(), (scale - wide_scale).min()))
    high = float(max((photo + wide_photo).max(), (scale + wide_scale).max()))
    room = 0.05 * (high - low)
    return low - room, high + room


def _draw_differences(axes: Axes, many: ManyRuns) -> None:
    """Differences against means, with bias and limits of agreement and the 95 % interval of each."""
    photo, scale = np.array([r.photo.value for r in many.runs]), np.array([r.scale.value for r in many.runs])
    wide = COVERAGE * np.array([np.hypot(r.photo.u, r.scale.u) for r in many.runs])
    mean, difference = (photo + scale) / 2, photo - scale
    axes.axhline(0, color=GREY, linewidth=1, linestyle="--", zorder=1)
    for word, marker in _FORMS.items():
        color, chosen = hex_color(COLORS[word]), _chosen(many, word)
        if chosen.any():
            axes.errorbar(
                mean[chosen], difference[chosen], wide[chosen], linestyle="none", marker=marker, markersize=6,
                color=color, markeredgecolor="white", markeredgewidth=0.6, elinewidth=1,
            )  # fmt: skip
    axes.set(xlabel="mean of photo and scale, %", ylabel="photo less scale, percentage points")
    axes.margins(x=0.06)
    if many.limits is None:
        return
    limits = many.limits
    ends = np.array(
        [*limits.lower.interval95(), *limits.upper.interval95(), *(difference - wide), *(difference + wide)]
    )
    room = 0.04 * np.ptp(ends)
    axes.set_ylim(ends.min() - room, ends.max() + room)
    axes.set_title("at the right: 95 % intervals of mean and limits of agreement", fontsize=9, color=GREY)
    _draw_level(axes, limits.upper, "upper limit", place=0, aside=1)
    _draw_level(axes, limits.bias, "mean", place=1, aside=0)
    _draw_level(axes, limits.lower, "lower limit", place=2, aside=-1)


def _draw_level(axes: Axes, level: Quantity, name: str, *, place: int, aside: int) -> None:
    """Draw a level across, its interval outside at one of three places, and its name, aside of the mean's."""
    x = 1.018 + 0.018 * place
    axes.axhline(level.value, color=GREY, linewidth=1.2, linestyle="-." if aside else "-", zorder=1)
    axes.errorbar(
        [x], [level.value], level.expanded95, color=GREY, linewidth=1, capsize=2.5, marker="_", markersize=5,
        transform=axes.get_yaxis_transform(), clip_on=False,
    )  # fmt: skip
    axes.annotate(
        f"{name} {level.value:+.2f}".replace("-", "\N{MINUS SIGN}"), (1.07, level.value), (0, 5 * aside),
        xycoords=("axes fraction", "data"), textcoords="offset points", fontsize=8, annotation_clip=False,
        va=("top", "center", "bottom")[aside + 1],
    )  # fmt: skip
