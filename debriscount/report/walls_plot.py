"""Plot of how much less is picked up near each wall: pickup against the distance from its foot."""

from itertools import pairwise

import numpy as np
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from numpy.typing import NDArray

from ..leftovers.findings import less_near_wall
from ..leftovers.records import LocalPickup, WallPickup, WallProfile, Walls
from ..leftovers.wording import length_text
from ..run.records import MeasuredShot, Measurement
from .lookup import why_of
from .palette import OKABE_ITO, hex_color
from .pictures import shot_note, shot_title
from .plots import GREY, INK, UNTOUCHED, drawn, in_lines

#: Open floor, told from the steps of the distances without colour too: it is dashed.
_OPEN = hex_color(OKABE_ITO[5])
_LEAST_PERCENT = -50.0  # where grains were pushed in; lower places are cut off
# Inches.
_WIDE, _HIGH, _LEFT, _RIGHT, _TOP, _BOTTOM, _BETWEEN_X, _BETWEEN_Y = 5.4, 2.9, 0.75, 0.65, 1.15, 1.35, 1.3, 1.45
_LINE = 0.19  # of the heading
#: What the legend says, in this order.
_LEGEND = (
    "picked up at this distance",
    "95 % interval",
    "open floor",
    "border of the edge zone",
    "debris stays up to here",
    "strip between lanes, left out",
)


def draw_walls(shot: MeasuredShot, measurement: Measurement) -> NDArray[np.uint8]:
    """Draw how much a pass picked up at which distance from each wall.

    Parameters
    ----------
    shot : MeasuredShot
        A shot after a pass of which the walls were looked at.
    measurement : Measurement
        The run that it belongs to.

    Returns
    -------
    ndarray of uint8, shape (H, W, 3)
        sRGB: for each wall steps of the pickup of what lay at a distance, in a band of their 95 % intervals; open
        floor's as a line; where a strip between lanes runs along the wall, a gap; and, where one was found, how far
        from the foot debris stays as a rule. The title above each says how much less is picked up near the wall.

    Raises
    ------
    ValueError
        Nothing is known of the walls.
    """
    why = why_of(shot, measurement)
    if why is None or not why.walls.pickup:
        raise ValueError(f"{shot.name!r} has no walls to draw")
    walls = why.walls
    profiles = {profile.wall: profile for profile in walls.walls}
    columns = min(2, len(walls.pickup))
    rows = -(-len(walls.pickup) // columns)
    width = _LEFT + _RIGHT + columns * _WIDE + (columns - 1) * _BETWEEN_X
    heading = in_lines(f"Pickup along the walls \N{EN DASH} {shot_title(shot, measurement)}", width)
    corners = _corner_words(walls)
    if corners:
        heading += f"\n{in_lines(corners, width)}"
    top = _TOP + _LINE * heading.count("\n")
    height = top + _BOTTOM + rows * _HIGH + (rows - 1) * _BETWEEN_Y
    least = min([0.0, *(end for wall in walls.pickup for one in wall.bins for end in _ends(one))])
    lowest = max(_LEAST_PERCENT, 1.05 * least)

    def draw(figure: Figure) -> None:
        shown: dict[str, Artist] = {}
        for number, found in enumerate(walls.pickup):
            row, column = divmod(number, columns)
            left, bottom = _LEFT + column * (_WIDE + _BETWEEN_X), height - top - _HIGH - row * (_HIGH + _BETWEEN_Y)
            axes = figure.add_axes((left / width, bottom / height, _WIDE / width, _HIGH / height))
            axes.set_ylim(lowest, 104)
            _draw_wall(axes, found, profiles.get(found.wall))
            handles, labels = axes.get_legend_handles_labels()
            shown |= dict(zip(labels, handles, strict=True))
        figure.legend(
            [shown[words] for words in _LEGEND if words in shown], [words for words in _LEGEND if words in shown],
            loc="lower center", ncols=3 * columns, fontsize=9, frameon=False, bbox_to_anchor=(0.5, 0.3 / height),
        )  # fmt: skip
        figure.suptitle(heading, y=1 - 0.1 / height, va="top", fontsize=11)
        figure.text(
            0.1 / width, 0.08 / height, in_lines(shot_note(shot, measurement), width, 8), fontsize=8, color=GREY
        )

    return drawn((width, height), draw)


def _ends(one: LocalPickup) -> tuple[float, ...]:
    return () if one.percent is None else (one.percent,)


def _draw_wall(axes: Axes, found: WallPickup, profile: WallProfile | None) -> None:
    for number, (low, high) in enumerate(found.strips_mm):
        axes.axvspan(
            low, high, facecolor="white", edgecolor=GREY, hatch="///", linewidth=0, alpha=0.5,
            label="" if number else _LEGEND[5],
        )  # fmt: skip
    _steps(axes, found)
    free = found.open
    if free.percent is not None:
        axes.axhline(free.percent, color=_OPEN, linewidth=1.8, linestyle="--", label=_LEGEND[2])
        axes.annotate(
            f"open\nfloor\n{free.percent:.0f} %", (1, free.percent), (4, 0), xycoords=("axes fraction", "data"),
            textcoords="offset points", ha="left", va="center", fontsize=9, color=INK,
        )  # fmt: skip
    axes.axvline(found.near_mm, color=GREY, linewidth=1, linestyle=":", label=_LEGEND[3])
    if profile is not None and profile.gap_mm is not None:
        axes.axvline(profile.gap_mm, color=INK, linewidth=1.4, label=_LEGEND[4])
    axes.set_title(_answer(found, profile), fontsize=10)
    axes.set(
        xlim=(found.edges_mm[0], found.edges_mm[-1]),
        xlabel=f"distance from the foot of the {found.wall} wall, mm",
        ylabel="picked up, % of what lay there",
    )
    axes.spines[["top", "right"]].set_visible(False)


def _steps(axes: Axes, found: WallPickup) -> None:
    """Pickup bin by bin, none where nothing lay."""
    named = False
    for (start, end), one in zip(pairwise(found.edges_mm), found.bins, strict=True):
        if one.percent is None or one.interval95 is None:
            if any(low <= (start + end) / 2 <= high for low, high in found.strips_mm):
                continue
            axes.text((start + end) / 2, 2, "\N{EN DASH}", ha="center", color=GREY, fontsize=8)
            continue
        low, high = one.interval95
        words = ("", "") if named else _LEGEND[:2]
        named = True
        axes.fill_between([start, end], low, high, color=UNTOUCHED, alpha=0.2, linewidth=0, label=words[1])
        axes.plot(
            [start, end], [one.percent] * 2, color=UNTOUCHED, linewidth=2.6, solid_capstyle="butt", label=words[0]
        )


def _answer(found: WallPickup, profile: WallProfile | None) -> str:
    """How much less is picked up near a wall, and how far from it debris stays as a rule."""
    said = (
        less_near_wall(found) or f"{found.wall.capitalize()} wall: too little lay there to compare it with open floor."
    )
    if profile is not None and profile.gap_mm is not None:
        said += f" Debris stays up to {length_text(profile.gap_mm, profile.gap_interval95)}."
    return in_lines(said, _WIDE, 9.5)


def _corner_words(walls: Walls) -> str:
    return "; ".join(
        f"corner {' and '.join(corner.walls)}: up to {length_text(corner.radius_mm, corner.radius_interval95)}"
        for corner in walls.corners
        if corner.radius_mm is not None
    )
