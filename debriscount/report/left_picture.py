"""Picture of what stayed: which debris the machine never moved, which it only moved, and what it never reached."""

from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from ..arrays import Floats
from ..flags import listed
from ..inputs.patch import OUTSIDE
from ..leftovers.records import WhyLeft
from ..run.records import KindColor, MeasuredShot, Measurement
from .borders import draw_borders
from .canvas import Canvas, floor_canvas, marking_colors
from .caption import Caption, LegendEntry, draw_caption, outline_sample
from .lookup import amount_in_patch, why_of
from .marks import cross_sample, draw_marks, draw_ways, ring_radii, ring_sample, too_many, way_sample
from .outlines import draw_outlines, nearest_grain, resized_map
from .palette import Color, contrasting
from .pictures import beyond_entry, border_entries, drop_beyond_margin, grey_beyond_margin, shot_note, shot_title
from .rounding import amount_text, area_text, interval_text, percent_text
from .unreached import draw_unreached, outlines_mm, unreached_entry


def draw_leftovers(shot: MeasuredShot, measurement: Measurement) -> NDArray[np.uint8]:
    """Draw what stayed after a pass.

    Parameters
    ----------
    shot : MeasuredShot
        A shot after a pass of which it was found why debris stayed.
    measurement : Measurement
        The run that it belongs to.

    Returns
    -------
    ndarray of uint8, shape (H, W, 3)
        sRGB: the floor view, at most 1600 px wide, with the caption below. A ring stands round debris that lies where
        it lay *before*, a cross round debris that was moved, with a line to it from the nearest place that lost some
        in the pass. Kinds that are not matched grain by grain, and those so many that marks would touch, are outlined
        instead, in the ring's or the cross's colour. Nothing lies over debris, labels neither.

    Raises
    ------
    ValueError
        Nothing is known of why debris stayed.
    """
    why = why_of(shot, measurement)
    if why is None:
        raise ValueError(f"{shot.name!r} has no leftovers to draw")
    canvas = floor_canvas(shot, measurement)
    colors, ground = marking_colors(measurement, 2)
    dimmed = grey_beyond_margin(canvas.image, measurement.patch, canvas.grid)
    bare, debris = canvas.image.copy(), resized_map(shot.kind_map, canvas.grid.shape)
    drop_beyond_margin(debris, measurement.patch, canvas.grid)
    draw_borders(canvas.image, measurement.patch, canvas.grid, canvas.unit, contrasting(ground))
    singly, fine = _draw_grains(canvas, debris, shot, measurement, why, (colors[0], colors[1]))
    outlines = outlines_mm(why, measurement.patch)
    draw_unreached(canvas, outlines, debris > 0, contrasting(ground))
    cv2.copyTo(bare, debris, canvas.image)

    legend = _legend(singly, fine, measurement, (colors[0], colors[1]), ground)
    if outlines:
        legend.append(unreached_entry(outlines, ground, canvas.size))
    legend += border_entries(canvas.unit, ground, measurement.patch)
    if dimmed:
        legend.append(beyond_entry(ground))
    caption = Caption(
        f"What stayed \N{EN DASH} {shot_title(shot, measurement)}",
        _figures(shot, measurement, why),
        tuple(legend),
        shot_note(shot, measurement),
    )
    return np.vstack([canvas.image, draw_caption(caption, canvas.grid.width_px, canvas.grid.mm_per_px, canvas.size)])


def _legend(
    singly: bool, fine: Sequence[KindColor], measurement: Measurement, colors: tuple[Color, Color], ground: Color
) -> list[LegendEntry]:
    """Entries of what marks debris."""
    ring, cross = colors
    debris = measurement.kinds[0].color_srgb if measurement.kinds else ground
    legend = []
    if singly:
        legend.append(LegendEntry("untouched: lies where it lay before", ring_sample(ring, debris, ground)))
        legend.append(LegendEntry("shifted: moved, not picked up", cross_sample(cross, debris, ground)))
        legend.append(LegendEntry("moved from there or from farther", way_sample(cross, ground)))
    if fine:
        names = listed([kind.name for kind in fine])
        legend.append(LegendEntry(f"{names}, outlined: untouched", outline_sample(ring, fine[0].color_srgb, ground)))
        legend.append(LegendEntry(f"{names}, outlined: shifted", outline_sample(cross, fine[0].color_srgb, ground)))
    return legend


def _draw_grains(
    canvas: Canvas,
    debris: NDArray[np.uint8],
    shot: MeasuredShot,
    measurement: Measurement,
    why: WhyLeft,
    colors: tuple[Color, Color],
) -> tuple[bool, list[KindColor]]:
    """Mark all debris; whether any of it singly, and the kinds that are outlined."""
    grains, mm_per_px = shot.grains, canvas.grid.mm_per_px
    places = canvas.to_px(np.column_stack([grains.x_mm, grains.y_mm]))
    across = grains.diameter_mm / mm_per_px
    shown = (grains.zone != OUTSIDE) & np.isfinite(places).all(axis=1) & np.isfinite(across)
    if not shown.any():
        return False, []
    numbers = np.flatnonzero(shown)
    nearest, distance = nearest_grain(debris.shape, places[shown])
    nearest = numbers[nearest]
    same = (debris > 0) & (debris == grains.kind[nearest] + 1)
    radii = ring_radii(_lengths(nearest[same], distance[same], across))
    known = shown & np.isfinite(why.untouched)  # the floor's own is no debris
    patch_px = measurement.patch.width_mm * measurement.patch.height_mm / mm_per_px**2
    stayed = why.untouched >= 0.5
    singly = np.zeros(len(grains), bool)
    many = []
    for code, kind in enumerate(measurement.kinds):
        own = known & (grains.kind == code)
        if why.leftovers.matched.get(kind.name, False) and not too_many(radii[own], patch_px):
            singly |= own
        elif own.any():
            many.append(code)
    # Where outlines of dust run together the higher code is shown: the commoner fate.
    fine = known & np.isin(grains.kind, many)
    higher = bool(2 * int(stayed[fine].sum()) >= int(fine.sum()))
    codes = np.where(known, np.where(stayed == higher, 2, 1), 0).astype(np.uint8)
    fates = np.where(same & np.isin(grains.kind[nearest], many), codes[nearest], 0).astype(np.uint8)
    if many:
        draw_outlines(canvas.image, fates, colors[::-1] if higher else colors, (1, 1))
    ways = canvas.to_px(np.column_stack([grains.x_mm, grains.y_mm]) - why.way_mm)
    told = singly & ~stayed & np.isfinite(ways).all(axis=1)
    draw_ways(canvas.image, ways[told], places[told], colors[1])
    draw_marks(canvas.image, places[singly], radii[singly], stayed[singly], colors)
    return bool(singly.any()), [measurement.kinds[code] for code in many]


def _lengths(grain: NDArray[np.intp], distance_px: Floats, across_px: Floats) -> Floats:
    """How long grains are, from the pixels that belong to each; not more than twice what a round one would be.

    Of grains that could not be parted one may seem to own the pixels of all.
    """
    farthest = np.zeros(len(across_px))
    np.maximum.at(farthest, grain, distance_px)
    return np.minimum(np.maximum(2 * farthest, across_px), 2 * across_px)


def _figures(shot: MeasuredShot, measurement: Measurement, why: WhyLeft) -> str:
    amount = amount_in_patch(shot, measurement)
    text = f"Left in the patch: {area_text(amount.area_mm2)} mm², {amount_text(amount.grains)} grains"
    left = why.leftovers.zones.get("patch")
    if left is None or left.untouched_percent is None:
        return text
    interval = f" ({interval_text(left.untouched_interval95)})" if left.untouched_interval95 is not None else ""
    untouched, shifted = percent_text(left.untouched_percent), percent_text(left.shifted_percent)
    return f"{text}; untouched {untouched}{interval}, shifted {shifted}"
