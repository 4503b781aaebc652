"""Plot of what stays along the walls, against the distance from their foot."""

import math

import numpy as np
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from numpy.typing import NDArray

from ..leftovers.records import WallProfile, Walls
from ..leftovers.wording import length_text, share_text
from ..run.records import MeasuredShot, Measurement
from .lookup import why_of
from .pictures import shot_title
from .plots import GREY, INK, SHIFTED, UNTOUCHED, drawn, title_of

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


def _shares(profile: WallProfile) -> NDArray[np.float64]:
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
