"""Markers laid where a careful person would: outside patch and margin, never on a wall's side."""

import math
from collections.abc import Sequence

from ..errors import PatchLayoutError
from ..inputs.patch import WALL_SIDES, Marker, Patch
from .check_layout import check_layout, least_side_mm
from .paper import HALF_PAPER, LABEL_MM

#: Between paper and margin, mm, and between paper and wall: the label above a square fits in, and a tape's error.
_GAP_MM, _WALL_GAP_MM = 5.0, 8.0
#: With three walls, how much farther out the middle marker lies, over the row's way to the wall: a tape's error grows
#: less than five times on that way.
_FARTHER_OUT = 0.3
_LEAST_MM, _MOST_MM = 50.0, 5000.0


def lay_patch(
    width_mm: float = 600.0,
    height_mm: float = 400.0,
    walls: Sequence[str] = (),
    *,
    name: str = "simulated patch",
    edge_mm: float = 30.0,
    corner_mm: float = 60.0,
    margin_mm: float = 60.0,
    marker_side_mm: float | None = None,
) -> Patch:
    """Make a patch and lay its markers.

    Parameters
    ----------
    width_mm, height_mm : float
        Size of the patch.
    walls : sequence of str
        Sides with a wall, at most three: the markers of a patch with four would lie in it.
    name : str
        Name of the patch.
    edge_mm, corner_mm, margin_mm : float
        Widths of the zones.
    marker_side_mm : float, optional
        Side of the black squares; a tenth of the patch's mean side unless given, 20 to 60 mm.

    Returns
    -------
    Patch

    Raises
    ------
    PatchLayoutError
        A size or wall that cannot be, or no place for the markers. Whether they can be read in a photo is not asked.
    """
    check_sizes(width_mm, height_mm, edge_mm, corner_mm, margin_mm)
    for wall in walls:
        if wall not in WALL_SIDES:
            raise PatchLayoutError(f'wall "{wall}" is unknown. Known are: {", ".join(WALL_SIDES)}.')
    if len(set(walls)) == 4:
        raise PatchLayoutError("walls on all four sides leave no floor for markers. Name three walls at most.")
    side = marker_side_mm or usual_side_mm(width_mm, height_mm, margin_mm, walls)
    ordered = tuple(wall for wall in WALL_SIDES if wall in walls)
    markers = tuple(
        Marker(number, (round(x, 1), round(y, 1)), side)
        for number, (x, y) in enumerate(_places(width_mm, height_mm, ordered, margin_mm, side))
    )
    patch = Patch(name, width_mm, height_mm, ordered, markers, edge_mm, corner_mm, margin_mm)
    check_layout(patch, megapixels=None)
    return patch


def check_sizes(width_mm: float, height_mm: float, edge_mm: float, corner_mm: float, margin_mm: float) -> None:
    """Refuse a patch too small or large, and zones wider than it.

    Raises
    ------
    PatchLayoutError
        For the first size that cannot be.
    """
    for label, value in (("width_mm", width_mm), ("height_mm", height_mm)):
        if not _LEAST_MM <= value <= _MOST_MM:
            raise PatchLayoutError(f"patch {label} must be from {_LEAST_MM:g} to {_MOST_MM:g}, got {value:g}.")
    for label, depth in (("edge_mm", edge_mm), ("corner_mm", corner_mm), ("margin_mm", margin_mm)):
        if not 0 <= depth < min(width_mm, height_mm):
            raise PatchLayoutError(
                f"zone {label} must be 0 or more and less than the patch's short side, got {depth:g}."
            )


def usual_side_mm(width_mm: float, height_mm: float, margin_mm: float, walls: Sequence[str] = ()) -> float:
    """Side of the black squares unless another is asked for, mm.

    A tenth of the patch's mean side, 20 to 60 mm; more where the usual photo would not show that large enough.
    """
    usual = round(min(max(0.05 * (width_mm + height_mm), 20.0), 60.0), 1)
    around = 2 * (margin_mm + _GAP_MM + LABEL_MM)
    reach = 1.0 + _FARTHER_OUT if len(set(walls)) == 3 else 1.0
    readable = least_side_mm((reach * (width_mm + around), reach * (height_mm + around)))
    return usual if readable <= usual else float(math.ceil(readable))


def _places(
    width: float, height: float, walls: tuple[str, ...], margin: float, side: float
) -> list[tuple[float, float]]:
    half_paper = side * HALF_PAPER
    outside, at_wall = margin + half_paper + _GAP_MM, half_paper + _WALL_GAP_MM
    x = {
        "left": at_wall if "left" in walls else -outside,
        "right": width - at_wall if "right" in walls else width + outside,
    }
    y = {
        "top": at_wall if "top" in walls else -outside,
        "bottom": height - at_wall if "bottom" in walls else height + outside,
    }
    corners = [("left", "top"), ("right", "top"), ("right", "bottom"), ("left", "bottom")]
    # Where two walls meet there is patch, not room for a marker.
    places = [(x[a], y[b]) for a, b in corners if not (a in walls and b in walls)]
    if len(places) == 4:
        return places
    free = [wall for wall in ("bottom", "right", "top", "left") if wall not in walls]
    middle = {
        "bottom": (width / 2, y["bottom"]),
        "top": (width / 2, y["top"]),
        "right": (x["right"], height / 2),
        "left": (x["left"], height / 2),
    }
    if len(walls) == 2:
        clear = [middle[wall] for wall in free if _is_clear(middle[wall], places, 2 * half_paper + LABEL_MM)]
        return [*places, *clear[:1]]  # three are enough where a fourth finds no room
    # Three walls: all markers lie on one side, the middle one farther out, since a row does not fix the tilt.
    mx, my = middle[free[0]]
    depth = (height if free[0] in ("bottom", "top") else width) + outside
    out = max(2.2 * half_paper + 60, _FARTHER_OUT * depth)
    dx, dy = {"bottom": (0, out), "top": (0, -out), "right": (out, 0), "left": (-out, 0)}[free[0]]
    return [*places, (mx + dx, my + dy)]


def _is_clear(place: tuple[float, float], others: Sequence[tuple[float, float]], reach: float) -> bool:
    return all(max(abs(place[0] - x), abs(place[1] - y)) >= reach for x, y in others)
