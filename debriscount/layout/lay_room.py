"""Markers laid for a room: larger squares, more of them, and inside the patch where walls leave no floor outside."""

import math
from collections.abc import Sequence

from ..errors import PatchLayoutError
from ..inputs.patch import WALL_SIDES, Marker, NotFloor, Patch
from .check_layout import check_layout
from .lay_patch import check_sizes
from .paper import HALF_PAPER, LABEL_MM, largest_side_mm, page_mm, paper_box_mm

#: Longest room, mm, and the shortest side that is one: less is a patch.
_MOST_MM, _LEAST_MM = 6000.0, 1000.0
#: From square to square along a side without a wall, mm at most: a photo of two metres of floor then shows two or more.
_EVERY_MM = 1500.0
#: How far inside the corner of two walls a square lies where there is no floor outside, mm: beyond what machines leave
#: along walls, so that none of that is hidden.
_INSIDE_MM = 450.0
#: Between paper and margin or wall, mm: a tape's error.
_GAP_MM = 10.0
#: Squares are cut to whole centimetres.
_STEP_MM = 10.0


def lay_room(
    width_mm: float,
    height_mm: float,
    walls: Sequence[str] = (),
    *,
    name: str = "room",
    paper: str = "a3",
    edge_mm: float = 30.0,
    corner_mm: float = 60.0,
    margin_mm: float = 60.0,
    marker_side_mm: float | None = None,
) -> Patch:
    """Make a patch of a room's size and lay its markers.

    Parameters
    ----------
    width_mm, height_mm : float
        Size of the patch, 1 to 6 m.
    walls : sequence of str
        Sides with a wall; all four in a whole room.
    name : str
        Name of the patch.
    paper : str
        What the squares are printed on.
    edge_mm, corner_mm, margin_mm : float
        Widths of the zones.
    marker_side_mm : float, optional
        Side of the black squares; the most that fits the paper in whole centimetres unless given.

    Returns
    -------
    Patch
        Squares stand along the sides without a wall. With three walls or four others lie inside, a little off each
        corner of two walls, and the file says that their paper is no floor.

    Raises
    ------
    PatchLayoutError, SheetError
        A size, wall or paper that cannot be.
    """
    check_sizes(min(width_mm, 5000.0), min(height_mm, 5000.0), edge_mm, corner_mm, margin_mm)
    for label, value in (("width", width_mm), ("height", height_mm)):
        if not _LEAST_MM <= value <= _MOST_MM:
            raise PatchLayoutError(f"a room's {label} must be from 1 to 6 m, got {value / 1000:g} m.")
    for wall in walls:
        if wall not in WALL_SIDES:
            raise PatchLayoutError(f'wall "{wall}" is unknown. Known are: {", ".join(WALL_SIDES)}.')
    page_mm(paper)
    side = marker_side_mm or _STEP_MM * math.floor(largest_side_mm(paper) / _STEP_MM)
    ordered = tuple(wall for wall in WALL_SIDES if wall in walls)
    bare = Patch(name, width_mm, height_mm, ordered, (), edge_mm, corner_mm, margin_mm)
    outside = _outside(bare, side)
    inside = _inside(bare) if len(ordered) >= 3 else []
    markers = tuple(
        Marker(number, (round(x, 1), round(y, 1)), side) for number, (x, y) in enumerate([*outside, *inside])
    )
    papers = tuple(_paper_of(marker) for marker in markers[len(outside) :])
    patch = Patch(name, width_mm, height_mm, ordered, markers, edge_mm, corner_mm, margin_mm, not_floor=papers)
    check_layout(patch, megapixels=None)
    return patch


def _outside(patch: Patch, side: float) -> list[tuple[float, float]]:
    """Places along the sides without a wall, each once, clockwise from the top left."""
    far = patch.margin_mm + side * HALF_PAPER + LABEL_MM + _GAP_MM
    close = side * HALF_PAPER + LABEL_MM + _GAP_MM
    width, height = patch.width_mm, patch.height_mm
    # Beyond a side without a wall squares may stand at its very ends; before a wall they stand off it.
    left, right = (close if "left" in patch.walls else -far), (width - close if "right" in patch.walls else width + far)
    top, bottom = (
        (close if "top" in patch.walls else -far),
        (height - close if "bottom" in patch.walls else height + far),
    )
    rows = {
        "top": ((left, -far), (right, -far)),
        "right": ((width + far, top), (width + far, bottom)),
        "bottom": ((right, height + far), (left, height + far)),
        "left": ((-far, bottom), (-far, top)),
    }
    places: dict[tuple[float, float], None] = {}
    for wall, (start, end) in rows.items():
        if wall not in patch.walls:
            number = max(1, round(math.dist(start, end) / _EVERY_MM))
            for k in range(number + 1):
                share = k / number
                places[(start[0] + share * (end[0] - start[0]), start[1] + share * (end[1] - start[1]))] = None
    return list(places)


def _inside(patch: Patch) -> list[tuple[float, float]]:
    """Places a little off every corner where two walls meet."""
    x = {"left": _INSIDE_MM, "right": patch.width_mm - _INSIDE_MM}
    y = {"top": _INSIDE_MM, "bottom": patch.height_mm - _INSIDE_MM}
    return [(x[b], y[a]) for a, b in patch.wall_corners()]


def _paper_of(marker: Marker) -> NotFloor:
    left, top, right, bottom = paper_box_mm(marker)
    return NotFloor(f"marker {marker.id}", ((left, top), (right, top), (right, bottom), (left, bottom)))
