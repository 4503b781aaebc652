"""Borders of the patch and its zones, drawn as strokes of a dark and a light colour."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import cv2
import numpy as np
from numpy.typing import NDArray

from ..arrays import Floats
from ..inputs.patch import MARGIN, OUTSIDE, Patch
from ..registration.grid import FloorGrid
from .palette import Color

#: Length of a dash and of the gap after it, in units of the stroke.
DASH, GAP = 12, 8


@dataclass(frozen=True, slots=True)
class Border:
    """A straight border: at ``at_mm`` of the other axis, from ``start_mm`` to ``end_mm``.

    ``style`` is "patch" (solid) or "zone" (dashed).
    """

    upright: bool
    at_mm: float
    start_mm: float
    end_mm: float
    style: str


@dataclass(frozen=True, slots=True)
class Stroke:
    """A straight line in pixel edges: 0 is the picture's first edge, 1 the next one."""

    upright: bool
    center: float
    start: float
    end: float


def borders(patch: Patch) -> list[Border]:
    """Return every line at which one zone ends and another begins, without overlaps.

    The plane is cut into cells by all coordinates at which a zone can end; where two neighbouring
    cells differ there is a border. That follows ``Patch.zone_codes``, whatever the walls.
    """
    left, top, right, bottom = patch.outer_box_mm()
    insets = (0.0, patch.edge_mm, patch.corner_mm)
    xs = _cuts([left, right, *insets, *(patch.width_mm - d for d in insets)])
    ys = _cuts([top, bottom, *insets, *(patch.height_mm - d for d in insets)])
    whole = replace(patch, not_floor=())
    codes = whole.zone_codes(*np.meshgrid((xs[1:] + xs[:-1]) / 2, (ys[1:] + ys[:-1]) / 2))
    return _between(codes, xs, ys, True) + _between(codes.T, ys, xs, False)


def draw_borders(
    image: NDArray[np.uint8], patch: Patch, grid: FloorGrid, unit: int, colors: tuple[Color, Color]
) -> None:
    """Draw the borders of patch and zones into a floor view and hatch what is no floor, in place.

    Parameters
    ----------
    image : ndarray of uint8, shape (H, W, 3)
        The floor view on ``grid``.
    patch : Patch
        The patch.
    grid : FloorGrid
        Where the view's pixels lie.
    unit : int
        Half the width of a stroke's core, px.
    colors : (colour, colour)
        Of the strokes' core and rim; one dark, one light.
    """
    for thing in patch.not_floor:
        hatch_polygon(image, grid.to_px(np.array(thing.polygon_mm)), unit)
        _draw_polygon(image, grid.to_px(np.array(thing.polygon_mm)), unit, colors)
    for zone in patch.custom_zones:
        _draw_polygon(image, grid.to_px(np.array(zone.polygon_mm)), unit, colors)
    found = borders(patch)
    for style in ("zone", "patch"):
        strokes = [_stroke_of(border, grid) for border in found if border.style == style]
        draw_strokes(image, strokes, unit, colors, dashed=style == "zone")


def hatch_polygon(image: NDArray[np.uint8], corners_px: Floats, unit: int) -> None:
    """Fill a polygon with grey and diagonal lines, in place."""
    inside = np.zeros(image.shape[:2], np.uint8)
    cv2.fillPoly(inside, [np.rint(corners_px).astype(np.int32)], (1,))
    row, column = np.nonzero(inside)
    line = (row + column) % (8 * unit) < 2 * unit
    image[row, column] = np.where(line[:, None], 120, 205).astype(np.uint8)


def draw_strokes(
    image: NDArray[np.uint8],
    strokes: Sequence[Stroke],
    unit: int,
    colors: tuple[Color, Color],
    *,
    dashed: bool,
) -> None:
    """Draw straight double strokes, in place; where they meet, their cores join.

    Parameters
    ----------
    image : ndarray of uint8, shape (H, W, 3)
        The picture.
    strokes : sequence of Stroke
        Where they lie.
    unit : int
        Half the width of the core, px; the rim is half as wide as that again.
    colors : (colour, colour)
        Of core and rim.
    dashed : bool
        In dashes that begin at each stroke's start.
    """
    for more, color in ((_rim(unit), colors[1]), (0, colors[0])):
        for s in strokes:
            limit = image.shape[1] if s.upright else image.shape[0]
            reach = unit + _rim(unit)
            middle = int(np.clip(round(s.center), reach, limit - reach))  # at the picture's rim still whole
            across = (middle - unit - more, middle + unit + more)
            for a, b in _pieces(s, unit, dashed):
                _fill(image, s.upright, across, (a - more, b + more), color)


def _pieces(s: Stroke, unit: int, dashed: bool) -> list[tuple[int, int]]:
    first, last = round(s.start), round(s.end)
    if not dashed:
        return [(first - unit, last + unit)]  # closes the corners of a rectangle
    return [(a, min(a + DASH * unit, last)) for a in range(first, last, (DASH + GAP) * unit)]


def _rim(unit: int) -> int:
    return -(-unit // 2)


def _fill(
    image: NDArray[np.uint8], upright: bool, across: tuple[int, int], along: tuple[int, int], color: Color
) -> None:
    a, b = slice(max(0, across[0]), max(0, across[1])), slice(max(0, along[0]), max(0, along[1]))
    image[(b, a) if upright else (a, b)] = color


def _cuts(places: list[float]) -> Floats:
    """Places in order, with one more cell before and after them."""
    cuts = np.unique(np.round(places, 6))
    return np.concatenate([[cuts[0] - 1], cuts, [cuts[-1] + 1]])


def _between(codes: NDArray[np.int8], across: Floats, along: Floats, upright: bool) -> list[Border]:
    """Borders between columns of cells; touching pieces of the same style become one."""
    found = []
    for j, at in enumerate(across[1:-1]):
        styles = [_style(int(a), int(b)) for a, b in zip(codes[:, j], codes[:, j + 1], strict=True)]
        edges = [0, *(i for i, (a, b) in enumerate(pairwise(styles), start=1) if a != b), len(styles)]
        found += [
            Border(upright, float(at), float(along[i]), float(along[k]), style)
            for i, k in pairwise(edges)
            if (style := styles[i]) is not None
        ]
    return found


def _style(code: int, other: int) -> str | None:
    if code == other:
        return None
    outside = (MARGIN, OUTSIDE)
    return "patch" if (code in outside) != (other in outside) else "zone"


def _stroke_of(border: Border, grid: FloorGrid) -> Stroke:
    ends = np.array([[border.at_mm, border.start_mm], [border.at_mm, border.end_mm]])
    if not border.upright:
        ends = ends[:, ::-1]
    (c, a), (_, b) = (grid.to_px(ends) + 0.5)[:, :: 1 if border.upright else -1].tolist()
    return Stroke(border.upright, c, a, b)


def _draw_polygon(image: NDArray[np.uint8], corners_px: Floats, unit: int, colors: tuple[Color, Color]) -> None:
    """Dots along the polygon: a user's own zone looks neither like a zone nor like the patch."""
    closed = np.vstack([corners_px, corners_px[:1]])
    lengths = np.concatenate([[0], np.cumsum(np.linalg.norm(np.diff(closed, axis=0), axis=1))])
    along = np.arange(0, lengths[-1], 6 * unit)
    dots = np.column_stack([np.interp(along, lengths, closed[:, axis]) for axis in (0, 1)])
    for radius, color in ((unit + _rim(unit), colors[1]), (unit, colors[0])):
        for x, y in np.rint(dots).astype(int).tolist():
            cv2.circle(image, (x, y), radius, color, cv2.FILLED)
