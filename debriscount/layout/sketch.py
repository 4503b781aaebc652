"""The patch from above, to scale: walls, zones, margin and where the papers lie."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from ..arrays import Floats
from ..inputs.patch import Marker, Patch
from .draw import Page, box_corners, fill, hatch, line, outline, text, text_width_mm
from .paper import Box, paper_box_mm
from .squares import draw_arrow

_EDGE_SHADE, _CORNER_SHADE, _NO_FLOOR_SHADE = 0.88, 0.74, 0.45
_SHADES = {"edge": _EDGE_SHADE, "corner": _CORNER_SHADE, "no floor": _NO_FLOOR_SHADE}
_MARGIN_DASHES, _OWN_DASHES = (1.2, 1.0), (3.0, 1.0, 0.6, 1.0)
#: Thickness of a drawn wall, and the least side of a square that holds its number, mm on the page.
_WALL_MM, _ROOMY_MM = 4.0, 4.0


@dataclass(frozen=True, slots=True)
class _Map:
    """From the floor to the page."""

    scale: float
    shift: tuple[float, float]

    def points(self, floor_mm: ArrayLike) -> Floats:
        return np.asarray(floor_mm, float) * self.scale + self.shift

    def box(self, box: Box) -> Box:
        (left, top), (right, bottom) = self.points([box[:2], box[2:]])
        return float(left), float(top), float(right), float(bottom)


def draw_sketch(page: Page, patch: Patch, room: Box) -> float:
    """Draw the patch and a legend.

    Parameters
    ----------
    page : Page
        The page.
    patch : Patch
        What to draw.
    room : tuple of float
        Left, top, right and bottom of where, mm; the legend is its last line.

    Returns
    -------
    float
        Where the legend ends, mm from the page's top.
    """
    left, top, right, bottom = room
    floor = _seen_box(patch)
    clear = _WALL_MM + 0.5
    width, height = right - left - 2 * clear, bottom - top - 7 - 2 * clear
    scale = min(width / (floor[2] - floor[0]), height / (floor[3] - floor[1]))
    drawn = scale * (floor[2] - floor[0])
    start = left + clear + (width - drawn) / 2
    onto = _Map(scale, (start - scale * floor[0], top + clear - scale * floor[1]))
    _draw_zones(page, patch, onto)
    _draw_walls(page, patch, onto, onto.box(floor))
    for marker in patch.markers:
        _draw_marker(page, patch, marker, onto)
    _draw_words(page, patch, onto)
    end = top + 2 * clear + scale * (floor[3] - floor[1]) + 3
    _draw_legend(page, patch, left, end)
    return end + 2


def _seen_box(patch: Patch) -> Box:
    boxes = np.array([patch.outer_box_mm(), *(paper_box_mm(marker) for marker in patch.markers)])
    (left, top), (right, bottom) = boxes[:, :2].min(axis=0), boxes[:, 2:].max(axis=0)
    return float(left), float(top), float(right), float(bottom)


def _draw_zones(page: Page, patch: Patch, onto: _Map) -> None:
    w, h, e, c = patch.width_mm, patch.height_mm, patch.edge_mm, patch.corner_mm
    strips = {"left": (0, 0, e, h), "right": (w - e, 0, w, h), "top": (0, 0, w, e), "bottom": (0, h - e, w, h)}
    for wall in patch.walls:
        fill(page, [box_corners(onto.box(strips[wall]))], _EDGE_SHADE)
    for a, y in (("top", 0.0), ("bottom", h - c)):
        for b, x in (("left", 0.0), ("right", w - c)):
            if a in patch.walls and b in patch.walls:
                fill(page, [box_corners(onto.box((x, y, x + c, y + c)))], _CORNER_SHADE)
    if patch.margin_mm > 0:
        outline(page, box_corners(onto.box(patch.outer_box_mm())), 0.2, dashes_mm=_MARGIN_DASHES, shade=0.3)
    for zone in patch.custom_zones:
        outline(page, onto.points(zone.polygon_mm), 0.2, dashes_mm=_OWN_DASHES, shade=0.3)
    for thing in patch.not_floor:
        fill(page, [onto.points(thing.polygon_mm)], _NO_FLOOR_SHADE)
        outline(page, onto.points(thing.polygon_mm), 0.2, shade=0.3)
    outline(page, box_corners(onto.box((0, 0, w, h))), 0.4)


def _draw_walls(page: Page, patch: Patch, onto: _Map, seen: Box) -> None:
    """Hatch the walls behind their feet; where two meet, the one at top or bottom has the corner."""
    left, top, right, bottom = onto.box((0, 0, patch.width_mm, patch.height_mm))
    t, walls = _WALL_MM, patch.walls
    first, last = (left - t if "left" in walls else seen[0]), (right + t if "right" in walls else seen[2])
    high, low = (top if "top" in walls else seen[1]), (bottom if "bottom" in walls else seen[3])
    strips = {
        "top": ((first, top - t, last, top), [(max(first, seen[0]), top), (min(last, seen[2]), top)]),
        "bottom": ((first, bottom, last, bottom + t), [(max(first, seen[0]), bottom), (min(last, seen[2]), bottom)]),
        "left": ((left - t, high, left, low), [(left, high), (left, low)]),
        "right": ((right, high, right + t, low), [(right, high), (right, low)]),
    }
    for wall in walls:
        strip, foot = strips[wall]
        hatch(page, strip)
        line(page, foot, 0.5)


def _draw_marker(page: Page, patch: Patch, marker: Marker, onto: _Map) -> None:
    outline(page, box_corners(onto.box(paper_box_mm(marker))), 0.1, shade=0.3)
    fill(page, [onto.points(marker.corners_mm())])
    x, y = (float(value) for value in onto.points(marker.center_mm))
    side = marker.side_mm * onto.scale
    if side >= _ROOMY_MM:
        draw_arrow(page, x, y - 0.24 * side, 0.38 * side, shade=1.0)
        text(page, x, y + 0.2 * side, str(marker.id), min(1.2 * side, 10), align="center", bold=True, shade=1.0)
        return
    # Too small to hold its number, which then stands on the side away from the patch.
    outward = 1 if marker.center_mm[1] > patch.height_mm / 2 else -1
    paper = onto.box(paper_box_mm(marker))
    text(page, x, (paper[3] + 2 if outward > 0 else paper[1] - 2), str(marker.id), 7, align="center", bold=True)


def _draw_words(page: Page, patch: Patch, onto: _Map) -> None:
    """Say how large the patch is, and which side is its top, where the drawing has room for it."""
    left, top, right, bottom = onto.box((0, 0, patch.width_mm, patch.height_mm))
    strip = max(patch.edge_mm, patch.corner_mm) * onto.scale * bool(patch.walls)
    if right - left - 2 * strip < 40 or bottom - top - 2 * strip < 16:
        return
    middle = (left + right) / 2
    text(page, middle, top + strip + 3, "top side of the patch", 8, align="center")
    text(page, middle, bottom - strip - 3, f"{patch.width_mm:g} mm", 8, align="center")
    text(page, right - strip - 3, (top + bottom) / 2, f"{patch.height_mm:g} mm", 8, align="center", angle=90)


def _draw_legend(page: Page, patch: Patch, x: float, y: float) -> None:
    names = patch.zone_names()
    entries = [("hatch", "wall")] * bool(patch.walls)
    entries += [("edge", f"edge {patch.edge_mm:g} mm")] * ("edge" in names)
    entries += [("corner", f"corner {patch.corner_mm:g} mm")] * ("corner" in names)
    entries += [("margin", f"margin {patch.margin_mm:g} mm")] * ("margin" in names)
    entries += [("own", "zones of your own")] * bool(patch.custom_zones)
    entries += [("no floor", "no floor")] * bool(patch.not_floor)
    for kind, words in entries:
        box = (x, y - 1.5, x + 6, y + 1.5)
        if kind == "hatch":
            hatch(page, box)
        elif kind in _SHADES:
            fill(page, [box_corners(box)], _SHADES[kind])
        else:
            dashes = _MARGIN_DASHES if kind == "margin" else _OWN_DASHES
            line(page, [(x, y), (x + 6, y)], 0.2, dashes_mm=dashes, shade=0.3)
        text(page, x + 7.5, y, words, 8)
        x += 7.5 + text_width_mm(words, 8) + 5
