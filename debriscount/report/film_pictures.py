"""Pictures of a measured film: the curve of what is left, and the machine's way over the patch."""

from collections.abc import Sequence

import cv2
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from numpy.typing import NDArray

from ..arrays import Floats
from ..film.left import LeftOver
from ..film.records import MeasuredFilm
from ..film.track import Lane
from .borders import draw_borders
from .canvas import SHIFT, Canvas, canvas_at, enlargement, fixed
from .caption import Caption, LegendEntry, draw_caption, label_sample, plain_sample
from .lookup import base_name
from .palette import DARK, LIGHT, OKABE_ITO, Color, as_color, contrasting, hex_color
from .pictures import border_entries, grey_beyond_margin
from .plots import GREY, INK, drawn, in_lines
from .rounding import percent_text
from .run_words import plural
from .text import LINE, draw_text, text_width

_LEFT, _LANE, _STRIP = OKABE_ITO[4], OKABE_ITO[5], OKABE_ITO[2]
#: Colours of the curves of single kinds, beside that of all debris.
_KINDS = tuple(OKABE_ITO[k] for k in (5, 2, 6, 0))
#: Share of the floor's contrast that is left below a way, and weight of the tint of what was cleaned.
_PALE, _TINT = 0.45, 0.3
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
    _plot_left(axes, times, left, color, "left in the patch")
    for number, (kind, zones) in enumerate(film.left_by_kind.items()):
        _plot_left(axes, times, zones["patch"], hex_color(_KINDS[number % len(_KINDS)]), f"{kind} alone")
    last = float(left.percent[-1])
    axes.annotate(percent_text(last), (times[-1], last), (-2, 7), textcoords="offset points", ha="right", color=INK)
    axes.set(
        xlim=(0, max(float(times[-1]), 1e-3)), ylim=(0, 112), xlabel="time in the film, s", ylabel="debris left, %"
    )
    axes.spines[["top", "right"]].set_visible(False)
    axes.legend(loc="upper right", bbox_to_anchor=(1.0, 0.9), fontsize=9, frameon=False)


def _plot_left(axes: Axes, times: Floats, left: LeftOver, color: str, name: str) -> None:
    known = np.isfinite(left.low95_percent).any()
    if known:
        ends = np.nan_to_num(left.low95_percent), np.nan_to_num(left.high95_percent)
        axes.fill_between(times, *ends, color=color, alpha=0.25, linewidth=0)
    label = f"{name}, with its 95 % interval" if known else name
    axes.plot(times, left.percent, color=color, linewidth=1.8 if known else 1.2, label=label)


def draw_track(film: MeasuredFilm) -> NDArray[np.uint8]:
    """Draw the machine's way over the patch, lanes as driven and strips as cleaned; sRGB of shape (H, W, 3)."""
    canvas = canvas_at(enlargement(film.grid.width_px), film.floor_view, film.grid)
    _make_pale(canvas.image)
    grey_beyond_margin(canvas.image, film.patch, canvas.grid)
    ground: Color = as_color(np.median(canvas.image[::8, ::8].reshape(-1, 3), axis=0))
    _draw_strips(canvas, film.lanes)
    draw_borders(canvas.image, film.patch, canvas.grid, canvas.unit, contrasting(ground))
    _draw_way(canvas, film)
    for number, lane in enumerate(film.lanes, start=1):
        _draw_lane(canvas, lane, number)
    legend = [
        LegendEntry("way of its middle", plain_sample(_LANE)),
        LegendEntry("lane, and which way", label_sample("1")),
        LegendEntry("strips cleaned", plain_sample(_mixed(_STRIP, ground))),
        *border_entries(canvas.unit, ground, film.patch),
    ]
    width = "" if film.track.width_mm is None else f", {film.track.width_mm:.0f} mm wide"
    on_patch = sum(outing.on_patch_s for outing in film.outings)
    caption = Caption(
        f"The machine's way \N{EN DASH} {film.patch.title}",
        f"{plural(len(film.lanes), 'lane')}, {plural(len(film.turns), 'turn')}, {on_patch:.0f} s on the patch{width}",
        tuple(legend),
        f"Film {base_name(film.film.name)}, measured by debriscount",
    )
    return np.vstack([canvas.image, draw_caption(caption, canvas.grid.width_px, canvas.grid.mm_per_px, canvas.size)])


def _make_pale(image: NDArray[np.uint8]) -> None:
    """Take most of the floor's contrast, so that what is drawn on it is seen first."""
    image[:] = np.asarray(255 - (255 - image.astype(np.float32)) * _PALE, np.uint8)


def _mixed(color: Color, ground: Color) -> Color:
    return as_color(_TINT * np.array(color, float) + (1 - _TINT) * np.array(ground, float))


def _draw_strips(canvas: Canvas, lanes: Sequence[Lane]) -> None:
    """Tint what the lanes cleaned, all of it alike: where strips overlap nothing else is meant."""
    cleaned = np.zeros(canvas.image.shape[:2], np.uint8)
    for lane in lanes:
        if lane.cleaned_mm is None or lane.cleaned_off_mm is None:
            continue
        start, end = np.array(lane.start_mm), np.array(lane.end_mm)
        along = (end - start) / np.hypot(*(end - start))
        aside = np.array([-along[1], along[0]])
        near, far = (lane.cleaned_off_mm + side * lane.cleaned_mm / 2 for side in (-1, 1))
        corners = np.array([start + near * aside, end + near * aside, end + far * aside, start + far * aside])
        cv2.fillConvexPoly(cleaned, fixed(canvas.to_px(corners)), (1,), cv2.LINE_8, SHIFT)
    inside = cleaned > 0
    canvas.image[inside] = (1 - _TINT) * canvas.image[inside] + _TINT * np.array(_STRIP)
    rims, _ = cv2.findContours(cleaned, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE)
    cv2.drawContours(canvas.image, rims, -1, _STRIP, 2 * canvas.unit, cv2.LINE_AA)


def _draw_way(canvas: Canvas, film: MeasuredFilm) -> None:
    track = film.track
    known = np.nonzero(np.isfinite(track.x_mm))[0]
    if len(known) < 2:
        return
    ends = fixed(np.clip(canvas.to_px(np.stack([track.x_mm[known], track.y_mm[known]], axis=-1)), -1e4, 1e4))
    parts = np.split(ends, np.nonzero(np.diff(track.times_s[known]) > _GAP_S)[0] + 1)
    for color, extra in ((LIGHT, 3), (_LANE, 0)):
        cv2.polylines(canvas.image, parts, False, color, 3 * canvas.unit + extra, cv2.LINE_AA, SHIFT)


def _draw_lane(canvas: Canvas, lane: Lane, number: int) -> None:
    """Mark a lane by its number and an arrow before it, where the picture shows it."""
    height, width = canvas.image.shape[:2]
    shown, *pixels = cv2.clipLine(
        (0, 0, width, height), *np.round(canvas.to_px(np.array([lane.start_mm, lane.end_mm]))).astype(int).tolist()
    )
    start, end = np.array(pixels, float)
    far = float(np.hypot(*(end - start)))
    if not shown or far == 0:
        return
    along, size, radius = (end - start) / far, canvas.size, 0.8 * canvas.size
    # Where lanes come and go on one line, their numbers stand apart.
    middle = start + (end - start) * (0.3 + 0.1 * ((number - 1) % 3))
    neck, wing = middle + (radius + 2) * along, 0.6 * radius * np.array([-along[1], along[0]])
    arrow = fixed(np.array([neck + 1.3 * radius * along, neck + wing, neck - wing]))
    cv2.fillConvexPoly(canvas.image, arrow, _LANE, cv2.LINE_AA, SHIFT)
    at, rim = fixed(middle).tolist(), int(fixed(np.array(radius)))
    cv2.circle(canvas.image, at, rim, LIGHT, cv2.FILLED, cv2.LINE_AA, SHIFT)
    cv2.circle(canvas.image, at, rim, _LANE, 2 * canvas.unit, cv2.LINE_AA, SHIFT)
    text = str(number)
    corner = middle - np.array([text_width(text, size, bold=True) / 2, LINE * size / 2])
    draw_text(canvas.image, text, (round(corner[0]), round(corner[1])), size, DARK, bold=True)
