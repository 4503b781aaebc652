"""Runs as a picture: every run a dot, a row a group, with the mean of each and how far it is known."""

import io
from pathlib import Path

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from ..compare.figures import CEILING_PERCENT
from ..compare.selected import Choice
from ..compare.summary import GroupSummary, Summary
from ..errors import OutputError
from ..inputs.save import save_files
from ..layout.draw import MM_PER_INCH, plain_style
from ..printable import printable
from .palette import DARK, OKABE_ITO, hex_color
from .plots import GREY
from .run_words import decimals_by, figure_words, keys_words, mean_text
from .runs_summary import group_decimals, group_name

ENDINGS = (".png", ".svg")
_DPI = 160
#: Width of the picture and of its rims, height of a row, mm.
_WIDE, _LEFT_MOST, _RIGHT, _ROW, _TOP, _BOTTOM = 200.0, 70.0, 50.0, 11.0, 13.0, 24.0
_LETTER = 1.9  # a middling letter of a label, 9 points, mm
_MOST_LETTERS = int(_LEFT_MOST / _LETTER) - 1
_MOST_ROWS = 60
_DOT, _DOUBT, _MEAN = hex_color(OKABE_ITO[4]), hex_color(OKABE_ITO[0]), hex_color(DARK)
#: How far intervals are shown beyond all runs, in spans of these.
_BEYOND = 0.7
#: Dots of a row lie within so much of its middle, in rows.
_SPREAD = 0.3


def write_plot(summary: Summary, choice: Choice, out: Path, *, overwrite: bool = False) -> None:
    """Write the picture as PNG or SVG; the same runs make the same bytes.

    Raises
    ------
    OutputError
        The ending is another, there are more than 60 groups, or the file is there already or cannot be written.
    """
    if out.suffix.lower() not in ENDINGS:
        raise OutputError(f"{out}: a picture of runs must end in {' or '.join(ENDINGS)}.")
    if len(summary.groups) > _MOST_ROWS:
        raise OutputError(
            f"{out}: {len(summary.groups)} groups are too many for a picture; {_MOST_ROWS} are the most. Group by less."
        )
    content = io.BytesIO()
    with plain_style():
        figure = _figure(summary, choice)
        if out.suffix.lower() == ".png":
            figure.savefig(content, format="png", dpi=_DPI, metadata={"Software": "debriscount"})
        else:
            about = {"Title": "runs", "Creator": None, "Date": None, "Format": None, "Type": None}
            figure.savefig(content, format="svg", metadata=about)
    save_files({out: content.getvalue()}, overwrite=overwrite)


def _figure(summary: Summary, choice: Choice) -> Figure:
    groups = summary.groups
    names = [_shortened(group_name(group)) for group in groups]
    left = min(_LEFT_MOST, 8 + _LETTER * max(map(len, names)))
    height = _TOP + _BOTTOM + _ROW * len(groups)
    figure = Figure(figsize=(_WIDE / MM_PER_INCH, height / MM_PER_INCH))
    box = (left / _WIDE, _BOTTOM / height, 1 - (left + _RIGHT) / _WIDE, _ROW * len(groups) / height)
    axes = figure.add_axes(box)
    limits = _limits(summary)
    for row, group in enumerate(groups):
        _draw_group(axes, group, row, summary, limits)
    axes.set_yticks(range(len(groups)), names, fontsize=9, parse_math=False)
    axes.set_ylim(len(groups) - 0.4, -0.6)
    axes.tick_params(axis="y", length=0, pad=9)
    axes.spines[["top", "right", "left"]].set_visible(False)
    axes.grid(axis="x", color="0.9", linewidth=0.6)
    axes.set_axisbelow(True)
    unit = f", {summary.kind.unit}" if summary.kind.unit else ""
    axes.set_xlabel(f"{summary.kind.name.replace('-', ' ')}{unit}", fontsize=9)
    axes.tick_params(axis="x", labelsize=9)
    axes.set_xlim(*limits)
    if summary.kind.pickup and limits[1] > CEILING_PERCENT:
        axes.axvline(CEILING_PERCENT, color=GREY, linewidth=0.8, linestyle=":")
    title = figure_words(summary.selected, choice)
    title += f" by {keys_words(summary.selected.keys)}" if summary.selected.keys else ""
    figure.text(4 / _WIDE, 1 - 5.5 / height, title[0].upper() + title[1:], fontsize=11, va="center", parse_math=False)
    handles, labels = axes.get_legend_handles_labels()
    shown = dict(zip(labels, handles, strict=True))
    figure.legend(list(shown.values()), list(shown), loc="lower center", ncols=5, fontsize=8.5, frameon=False)
    return figure


def _draw_group(axes: Axes, group: GroupSummary, row: int, summary: Summary, limits: tuple[float, float]) -> None:
    values = np.array([item.figure.range[0] for item in group.items])
    y = row + _places(values)
    doubtful = np.array([item.doubtful for item in group.items])
    ceiling = np.array([item.figure.at_least is not None for item in group.items])
    sure = ~doubtful & ~ceiling
    for chosen, marker, face, edge, word in (
        (sure, "o", _DOT, "white", "a run"),
        (doubtful & ~ceiling, "o", "white", _DOUBT, "a doubtful run"),
        (ceiling, ">", _DOT, "white", 'a run told as "more than"'),
    ):
        if chosen.any():
            axes.scatter(
                values[chosen], y[chosen], s=34, marker=marker, facecolor=face, edgecolor=edge, linewidth=0.9,
                label=word, zorder=2,
            )  # fmt: skip
    if group.interval95 is not None:
        ends = np.clip(group.interval95, *limits)
        axes.plot(ends, (row, row), color=_MEAN, linewidth=1.6, zorder=3, label="95 % interval of the mean")
        for end, known, marker in zip(ends, group.interval95, "<>", strict=True):
            if end != known:  # it goes on beyond the picture
                axes.plot([end], [row], marker=marker, markersize=6, color=_MEAN, zorder=3, clip_on=False)
    axes.plot(
        [group.mean], [row], linestyle="none", marker="|", markersize=11, markeredgewidth=2.4, color=_MEAN, zorder=3,
        label="mean",
    )  # fmt: skip
    decimals = group_decimals(group) if group.n > 1 else decimals_by(None, None if group.u is None else 2 * group.u)
    said = f"{mean_text(group.mean, group.at_ceiling, decimals, summary.kind)}, n = {group.n}"
    axes.annotate(
        said, (1, row), (8, 0), xycoords=("axes fraction", "data"), textcoords="offset points", va="center",
        fontsize=8.5, color=GREY, annotation_clip=False,
    )  # fmt: skip


def _places(values: np.ndarray) -> np.ndarray:
    """How far from the row's middle, where the interval is drawn, each dot lies, in rows: neighbours in size apart."""
    order = np.argsort(np.argsort(values, kind="stable"), kind="stable")
    return _SPREAD * np.array([-1.0, 1.0, -0.6, 0.6])[order % 4]


def _limits(summary: Summary) -> tuple[float, float]:
    """Ends of the axis: room for all runs, and for intervals that are not much wider than runs lie apart."""
    smallest, largest = (min(g.smallest for g in summary.groups), max(g.largest for g in summary.groups))
    ends = [end for group in summary.groups for end in (group.interval95 or (group.mean, group.mean))]
    span = (largest - smallest) or max(ends) - min(ends) or 1.0
    low = max(min([smallest, *ends]), smallest - _BEYOND * span)
    high = min(max([largest, *ends]), largest + _BEYOND * span)
    room = 0.06 * (high - low) or 1.0
    return low - room, high + room


def _shortened(name: str) -> str:
    name = printable(name)
    return name if len(name) <= _MOST_LETTERS else name[: _MOST_LETTERS - 1].rstrip() + "…"
