"""What lies over a run's pictures as lines, in millimetres of the floor: zones, fates of grains, strips, scatter."""

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from markupsafe import Markup

from ..inputs.patch import Patch
from ..report.borders import borders
from .words import zone_title

Places = Sequence[Sequence[float]]

#: Grains that are marked one by one; of more, the largest.
_MOST_MARKS = 5_000
#: How far along a strip its label stands, and open floor's from the other side: the divider begins in the middle.
_ASIDE = 0.72
#: Radius of a mark beside that of its grain, mm.
_BESIDE_MM = 1.0


#: Nothing to draw.
_NONE = Markup()


@dataclass(frozen=True, slots=True)
class Label:
    """A word on a picture, at percent of its width and height."""

    x: float
    y: float
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Layers:
    """What is drawn over the pictures of a pass; paths, of numbers alone, in the units of ``view_box``, millimetres.

    ``fates_marked`` is how many leftovers of how many the fates are drawn of.
    """

    view_box: str
    patch: Markup
    zones: Markup
    zone_labels: tuple[Label, ...]
    untouched: Markup = _NONE
    shifted: Markup = _NONE
    fates_marked: tuple[int, int] = (0, 0)
    strips: Markup = _NONE
    strip_labels: tuple[Label, ...] = ()
    missed: Markup = _NONE
    flung: Markup = _NONE
    arrow: Markup = _NONE


def layers_of(
    patch: Patch, grid: Mapping[str, Any], found: Mapping[str, Any], grains: Iterable[Mapping[str, str]]
) -> Layers:
    """Return the layers of a pass.

    Parameters
    ----------
    patch : Patch
        Of the run.
    grid : mapping
        The record's raster of the floor view.
    found : mapping
        The record's pass.
    grains : iterable of mapping
        Rows of grains.csv of the shot after the pass.

    Raises
    ------
    KeyError, TypeError, ValueError
        The record is not whole.
    """
    step = float(grid["mm_per_px"])
    left, top = float(grid["x0_mm"]) - step / 2, float(grid["y0_mm"]) - step / 2
    width, height = step * int(grid["width_px"]), step * int(grid["height_px"])

    def label(x: float, y: float, text: str) -> Label:
        return Label(round(100 * (x - left) / width, 1), round(100 * (y - top) / height, 1), text)

    rows = list(grains)
    told = sorted((row for row in rows if row.get("fate")), key=lambda row: -float(row["diameter_mm"]))
    shown = told[:_MOST_MARKS]
    lanes, scatter = found.get("lanes") or {}, found.get("scatter") or {}
    strips = [(strip["ends_mm"], float(strip["width_mm"])) for strip in lanes.get("strips", ())]
    lines = {"patch": "", "zone": ""}
    for border in borders(patch):
        ends = [(border.at_mm, border.start_mm), (border.at_mm, border.end_mm)]
        lines[border.style] += _path(ends if border.upright else [end[::-1] for end in ends], closed=False)
    return Layers(
        view_box=f"{left:.2f} {top:.2f} {width:.2f} {height:.2f}",
        patch=Markup(lines["patch"]),
        zones=Markup(lines["zone"] + "".join(_path(zone.polygon_mm) for zone in patch.custom_zones)),
        zone_labels=tuple(label(x, y, zone_title(zone)) for zone, x, y in _zone_places(patch)),
        untouched=Markup("".join(_ring(row) for row in shown if row["fate"] == "untouched")),
        shifted=Markup("".join(_cross(row) for row in shown if row["fate"] == "shifted")),
        fates_marked=(len(shown), len(told)),
        strips=Markup("".join(_path(_strip(ends, width_mm)) for ends, width_mm in strips)),
        strip_labels=tuple(
            label(a[0] + _ASIDE * (b[0] - a[0]), a[1] + _ASIDE * (b[1] - a[1]), f"{width_mm:.0f} mm")
            for (a, b), width_mm in strips
        ),
        missed=Markup(
            "".join(
                _path(place["polygon_mm"])
                for place in found.get("missed", ())
                if place["what"] != "strip" or not strips
            )
        ),
        flung=Markup("".join(_ring(row) for row in rows if row.get("zone") == "margin")),
        arrow=Markup(_arrow(patch, scatter.get("direction_deg"))),
    )


def _zone_places(patch: Patch) -> list[tuple[str, float, float]]:
    """Where each zone's name stands, off the divider: on open floor, along the first wall, in the first corner."""
    w, h, edge, corner = patch.width_mm, patch.height_mm, patch.edge_mm, patch.corner_mm
    places = [("open", w * (1 - _ASIDE), h / 2)]
    along = {"top": (w * (1 - _ASIDE), edge / 2), "bottom": (w * (1 - _ASIDE), h - edge / 2), "left": (edge / 2, h / 2)}
    along["right"] = (w - edge / 2, h / 2)
    places += [("edge", *along[wall]) for wall in ("top", "bottom", "left", "right") if wall in patch.walls][:1]
    corners = [
        (x, y)
        for side, x in (("left", corner / 2), ("right", w - corner / 2))
        for end, y in (("top", corner / 2), ("bottom", h - corner / 2))
        if side in patch.walls and end in patch.walls
    ]
    places += [("corner", *place) for place in corners[:1]]
    for zone in patch.custom_zones:
        xs, ys = zip(*zone.polygon_mm, strict=True)
        places.append((zone.name, sum(xs) / len(xs), sum(ys) / len(ys)))
    return places


def _path(places: Places, closed: bool = True) -> str:
    points = "L".join(f"{float(x):.1f} {float(y):.1f}" for x, y in places)
    return f"M{points}{'Z' if closed else ''}"


def _strip(ends: Places, width_mm: float) -> Places:
    (x, y), (x2, y2) = ((float(a), float(b)) for a, b in ends)
    length = math.hypot(x2 - x, y2 - y) or 1.0
    aside_x, aside_y = -(y2 - y) / length * width_mm / 2, (x2 - x) / length * width_mm / 2
    return [
        (x + aside_x, y + aside_y), (x2 + aside_x, y2 + aside_y),
        (x2 - aside_x, y2 - aside_y), (x - aside_x, y - aside_y),
    ]  # fmt: skip


def _place(row: Mapping[str, str]) -> tuple[float, float, float]:
    return float(row["x_mm"]), float(row["y_mm"]), float(row["diameter_mm"] or 0) / 2 + _BESIDE_MM


def _ring(row: Mapping[str, str]) -> str:
    x, y, r = _place(row)
    return f"M{x - r:.1f} {y:.1f}a{r:.1f} {r:.1f} 0 1 0 {2 * r:.1f} 0a{r:.1f} {r:.1f} 0 1 0 {-2 * r:.1f} 0"


def _cross(row: Mapping[str, str]) -> str:
    x, y, r = _place(row)
    return f"M{x - r:.1f} {y - r:.1f}l{2 * r:.1f} {2 * r:.1f}m{-2 * r:.1f} 0l{2 * r:.1f} {-2 * r:.1f}"


def _arrow(patch: Patch, degrees: float | None) -> str:
    """An arrow in the middle of the patch towards where moved debris lies."""
    if degrees is None:
        return ""
    size = min(patch.width_mm, patch.height_mm) / 5
    x, y = patch.width_mm / 2, patch.height_mm / 2
    along = math.radians(float(degrees))
    tip = (x + size * math.cos(along), y + size * math.sin(along))
    barbs = [
        (tip[0] - size / 3 * math.cos(along + turn), tip[1] - size / 3 * math.sin(along + turn))
        for turn in (0.45, -0.45)
    ]
    return _path([(2 * x - tip[0], 2 * y - tip[1]), tip], closed=False) + _path([barbs[0], tip, barbs[1]], closed=False)
