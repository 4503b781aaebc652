"""Markers laid where a careful person would: outside patch and margin, never on a wall's side."""

from collections.abc import Sequence

from ..errors import SceneError
from ..inputs.patch import WALL_SIDES, Marker, Patch

#: Modules of white paper around the black square (six modules): one is OpenCV's least.
QUIET_MODULES = 1.2
MODULES = 6


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
    SceneError
        A size or wall that cannot be.
    """
    for label, value in (("width_mm", width_mm), ("height_mm", height_mm)):
        if not 50 <= value <= 5000:
            raise SceneError(f"patch {label} must be from 50 to 5000, got {value:g}.")
    for wall in walls:
        if wall not in WALL_SIDES:
            raise SceneError(f'wall "{wall}" is unknown. Known are: {", ".join(WALL_SIDES)}.')
    if len(set(walls)) == 4:
        raise SceneError("walls on all four sides leave no floor for markers. Name three walls at most.")
    side = marker_side_mm or min(max(0.05 * (width_mm + height_mm), 20.0), 60.0)
    for label, depth in (("edge_mm", edge_mm), ("corner_mm", corner_mm), ("margin_mm", margin_mm)):
        if not 0 <= depth < min(width_mm, height_mm):
            raise SceneError(f"zone {label} must be from 0 to below the patch's short side, got {depth:g}.")
    ordered = tuple(wall for wall in WALL_SIDES if wall in walls)
    markers = tuple(
        Marker(number, (round(x, 1), round(y, 1)), side)
        for number, (x, y) in enumerate(_places(width_mm, height_mm, ordered, margin_mm, side))
    )
    return Patch(name, width_mm, height_mm, ordered, markers, edge_mm, corner_mm, margin_mm)


def _places(
    width: float, height: float, walls: tuple[str, ...], margin: float, side: float
) -> list[tuple[float, float]]:
    half_paper = side * (0.5 + QUIET_MODULES / MODULES)
    outside = margin + half_paper + 5
    at_wall = half_paper + 8
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
        return [*places, middle[free[0]]]
    # Three walls: all markers lie on one side, the middle one farther out, since a row does not fix the tilt.
    mx, my = middle[free[0]]
    out = 2.2 * half_paper + 60
    dx, dy = {"bottom": (0, out), "top": (0, -out), "right": (out, 0), "left": (-out, 0)}[free[0]]
    return [*places, (mx + dx, my + dy)]
