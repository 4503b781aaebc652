"""Picture of what stayed: which debris the machine never moved, which it only moved, and what it never reached."""

import numpy as np
from numpy.typing import NDArray

from ..inputs.patch import OUTSIDE
from ..leftovers.records import WhyLeft
from ..run.records import MeasuredShot, Measurement
from .borders import draw_borders
from .canvas import Canvas, floor_canvas, marking_colors
from .caption import Caption, LegendEntry, draw_caption
from .lookup import amount_in_patch, why_of
from .marks import (
    cell_px,
    cross_sample,
    disc_sample,
    draw_discs,
    draw_marks,
    draw_ways,
    ring_radii,
    ring_sample,
    too_many,
    way_sample,
)
from .palette import Color, contrasting
from .pictures import border_entries, grey_beyond_margin, shot_note, shot_title
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
        it lay *before*, a cross over debris that was moved, with a line to it from the nearest place that lost some
        in the pass. Kinds that are not matched grain by grain, and those so many that marks would touch, are drawn as
        discs in cells instead, filled by the untouched share.

    Raises
    ------
    ValueError
        Nothing is known of why debris stayed.
    """
    why = why_of(shot, measurement)
    if why is None:
        raise ValueError(f"{shot.name!r} has no leftovers to draw")
    canvas = floor_canvas(shot, measurement)
    (ring, cross), ground = marking_colors(measurement, 2)
    grey_beyond_margin(canvas.image, measurement.patch, canvas.grid)
    draw_borders(canvas.image, measurement.patch, canvas.grid, canvas.unit, contrasting(ground))
    singly, many = _draw_grains(canvas, shot, measurement, why, (ring, cross))
    outlines = outlines_mm(why, measurement.patch)
    places = canvas.to_px(np.column_stack([shot.grains.x_mm, shot.grains.y_mm]))
    draw_unreached(canvas, outlines, places, contrasting(ground))

    legend = []
    debris = measurement.kinds[0].color_srgb if measurement.kinds else ground
    if singly:
        legend.append(LegendEntry("untouched: lies where it lay before", ring_sample(ring, debris, ground)))
        legend.append(LegendEntry("shifted: moved, not picked up", cross_sample(cross, debris, ground)))
        legend.append(LegendEntry("moved from there or from farther", way_sample(cross, ground)))
    if many:
        legend.append(
            LegendEntry(f"{many}: amount left, its untouched part filled", disc_sample(0.7, (ring, cross), ground))
        )
    if outlines:
        legend.append(unreached_entry(outlines, ground, canvas.size))
    legend += border_entries(canvas.unit, ground)
    caption = Caption(
        f"What stayed \N{EN DASH} {shot_title(shot, measurement)}",
        _figures(shot, measurement, why),
        tuple(legend),
        shot_note(shot, measurement),
    )
    return np.vstack([canvas.image, draw_caption(caption, canvas.grid.width_px, canvas.grid.mm_per_px, canvas.size)])


def _draw_grains(
    canvas: Canvas, shot: MeasuredShot, measurement: Measurement, why: WhyLeft, colors: tuple[Color, Color]
) -> tuple[bool, str]:
    """Draw all debris; whether any of it singly, and the names of the kinds drawn as discs."""
    grains, mm_per_px = shot.grains, canvas.grid.mm_per_px
    places = canvas.to_px(np.column_stack([grains.x_mm, grains.y_mm]))
    radii = ring_radii(grains.diameter_mm / mm_per_px)
    shown = (grains.zone != OUTSIDE) & np.isfinite(places).all(axis=1) & np.isfinite(radii)
    shown &= np.isfinite(why.untouched)  # the floor's own is no debris
    patch_px = measurement.patch.width_mm * measurement.patch.height_mm / mm_per_px**2
    singly = np.zeros(len(grains), bool)
    many = []
    for code, kind in enumerate(measurement.kinds):
        own = shown & (grains.kind == code)
        if why.leftovers.matched.get(kind.name, False) and not too_many(radii[own], patch_px):
            singly |= own
        elif own.any():
            many.append(kind.name)
    fine = shown & ~singly
    if fine.any():
        side = cell_px(int(fine.sum()), patch_px, canvas.grid.width_px)
        x, y = canvas.to_px(np.zeros((1, 2)))[0].tolist()
        draw_discs(canvas.image, places[fine], grains.area_mm2[fine], why.untouched[fine], side, (x, y), colors)
    ways = canvas.to_px(np.column_stack([grains.x_mm, grains.y_mm]) - why.way_mm)
    told = singly & (why.untouched < 0.5) & np.isfinite(ways).all(axis=1)
    draw_ways(canvas.image, ways[told], places[told], colors[1])
    draw_marks(canvas.image, places[singly], radii[singly], why.untouched[singly] >= 0.5, colors)
    return bool(singly.any()), ", ".join(many)


def _figures(shot: MeasuredShot, measurement: Measurement, why: WhyLeft) -> str:
    amount = amount_in_patch(shot, measurement)
    text = f"Left in the patch: {area_text(amount.area_mm2)} mm², {amount_text(amount.grains)} grains"
    left = why.leftovers.zones.get("patch")
    if left is None or left.untouched_percent is None:
        return text
    interval = f" ({interval_text(left.untouched_interval95)})" if left.untouched_interval95 is not None else ""
    untouched, shifted = percent_text(left.untouched_percent), percent_text(left.shifted_percent)
    return f"{text}; untouched {untouched}{interval}, shifted {shifted}"
