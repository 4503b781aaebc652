"""Pictures of a measured film: the curve of what is left, and the machine's way over the patch."""

import cv2
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from numpy.typing import NDArray

from ..arrays import Floats
from ..film.records import MeasuredFilm
from ..film.track import Lane
from .borders import draw_borders
from .canvas import SHIFT, Canvas, canvas_at, enlargement, fixed
from .caption import Caption, LegendEntry, Painter, draw_caption, plain_sample
from .lookup import base_name
from .palette import DARK, LIGHT, OKABE_ITO, Color, as_color, contrasting, hex_color
from .pictures import border_entries, grey_beyond_margin
from .plots import GREY, INK, drawn, in_lines
from .rounding import percent_text

_LEFT, _LANE, _STRIP = OKABE_ITO[4], OKABE_ITO[5], OKABE_ITO[1]
#: Colours of a way from its start to its end: dark to light, so that its order is seen without colour too.
_EARLY, _LATE = (0, 40, 90), (240, 228, 66)
#: Seconds without a place from which on two of them are not joined.
_GAP_S = 2.0


def draw_curve(film: MeasuredFilm) -> NDArray[np.uint8]:
    """Draw debris left against time, with what is hidden and the passes; sRGB of shape (H, W, 3)."""
    width = 8.0
    title = in_lines(f"Debris left \N{EN DASH} {film.patch.title}", width)
    above = 0.45 + 0.19 * title.count("\n")  # inches
    height = 3.95 + above

    def draw(figure: Figure) -> None:
        axes = figure.add_axes((0.7 / width, 0.6 / height, 1 - 0.95 / width, 1 - (0.6 + above) / height))
        plot_curve(axes, film)
        axes.set_title(title, fontsize=11)

    return drawn((width, height), draw)


def plot_curve(axes: Axes, film: MeasuredFilm) -> None:
    """Draw the curve into axes."""
    left, times = film.left["patch"], film.times_s
    color = hex_color(_LEFT)
    for number, outing in enumerate(film.outings, start=1):
        axes.axvspan(outing.start_s, outing.end_s, color="#000000", alpha=0.06, linewidth=0)
        middle = (outing.start_s + outing.end_s) / 2
        axes.text(middle, 103, f"pass {number}", ha="center", va="bottom", fontsize=9, color=GREY)
    bounds = np.nan_to_num(left.low_percent), np.nan_to_num(left.high_percent)
    axes.fill_between(times, *bounds, color=color, alpha=0.25, linewidth=0, label="bounds where the floor is hidden")
    axes.plot(times, left.percent, color=color, linewidth=1.8, label="left in the patch")
    last = float(left.percent[-1])
    axes.annotate(percent_text(last), (times[-1], last), (-2, 7), textcoords="offset points", ha="right", color=INK)
    axes.set(
        xlim=(0, max(float(times[-1]), 1e-3)), ylim=(0, 112), xlabel="time in the film, s", ylabel="debris left, %"
    )
    axes.spines[["top", "right"]].set_visible(False)
    axes.legend(loc="upper right", bbox_to_anchor=(1.0, 0.9), fontsize=9, frameon=False)


def draw_track(film: MeasuredFilm) -> NDArray[np.uint8]:
    """Draw the machine's way over the patch, lanes as driven and strips as cleaned; sRGB of shape (H, W, 3)."""
    canvas = canvas_at(enlargement(film.grid.width_px), film.floor_view, film.grid)
    grey_beyond_margin(canvas.image, film.patch, canvas.grid)
    for lane in film.lanes:
        _draw_strip(canvas, lane)
    colors = contrasting(as_color(np.median(film.floor_view[::8, ::8].reshape(-1, 3), axis=0)))
    draw_borders(canvas.image, film.patch, canvas.grid, canvas.unit, colors)
    _draw_way(canvas, film)
    ground: Color = as_color(np.median(film.floor_view[::8, ::8].reshape(-1, 3), axis=0))
    legend = [
        LegendEntry("way, from dark to light", _way_sample()),
        LegendEntry("strip cleaned on a lane", plain_sample(_STRIP)),
        *border_entries(canvas.unit, ground, film.patch),
    ]
    width = "" if film.track.width_mm is None else f", {film.track.width_mm:.0f} mm wide"
    on_patch = sum(outing.on_patch_s for outing in film.outings)
    caption = Caption(
        f"The machine's way \N{EN DASH} {film.patch.title}",
        f"{len(film.lanes)} lanes, {len(film.turns)} turns, {on_patch:.0f} s on the patch{width}",
        tuple(legend),
        f"Film {base_name(film.film.name)}, measured by debriscount",
    )
    return np.vstack([canvas.image, draw_caption(caption, canvas.grid.width_px, canvas.grid.mm_per_px, canvas.size)])


def _draw_strip(canvas: Canvas, lane: Lane) -> None:
    """Tint the strip that a lane cleaned."""
    if lane.cleaned_mm is None or lane.cleaned_off_mm is None:
        return
    start, end = np.array(lane.start_mm), np.array(lane.end_mm)
    along = (end - start) / np.hypot(*(end - start))
    aside = np.array([-along[1], along[0]])
    edges = [lane.cleaned_off_mm + side * lane.cleaned_mm / 2 for side in (-1, 1)]
    corners = np.array(
        [start + edges[0] * aside, end + edges[0] * aside, end + edges[1] * aside, start + edges[1] * aside]
    )
    tint = canvas.image.copy()
    cv2.fillConvexPoly(tint, fixed(canvas.to_px(corners)), _STRIP, cv2.LINE_AA, SHIFT)
    cv2.addWeighted(tint, 0.35, canvas.image, 0.65, 0, canvas.image)


def _draw_way(canvas: Canvas, film: MeasuredFilm) -> None:
    track = film.track
    known = np.nonzero(np.isfinite(track.x_mm))[0]
    if len(known) < 2:
        return
    places = canvas.to_px(np.stack([track.x_mm[known], track.y_mm[known]], axis=-1))
    times = track.times_s[known]
    share = (times - times[0]) / max(float(times[-1] - times[0]), 1e-9)
    ends = fixed(np.clip(places, -1e4, 1e4))
    joined = np.diff(times) <= _GAP_S
    for extra in (3, 0):
        for k in np.nonzero(joined)[0]:
            color = LIGHT if extra else way_color(float(share[k]))
            cv2.line(
                canvas.image, ends[k].tolist(), ends[k + 1].tolist(), color, 3 * canvas.unit + extra, cv2.LINE_AA, SHIFT
            )
    cv2.circle(canvas.image, ends[0].tolist(), 8 * canvas.unit << SHIFT, DARK, cv2.FILLED, cv2.LINE_AA, SHIFT)


def way_color(share: float) -> Color:
    """Colour of a way after a share of its time."""
    mixed: Floats = np.array(_EARLY) + share * (np.array(_LATE) - np.array(_EARLY))
    return as_color(mixed)


def _way_sample() -> Painter:
    def paint(image: NDArray[np.uint8], left: int, top: int, width: int, height: int) -> None:
        for column in range(width):
            image[top + height // 3 : top + 2 * height // 3, left + column] = way_color(column / max(width - 1, 1))

    return paint
