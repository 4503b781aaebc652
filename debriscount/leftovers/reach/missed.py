"""Places that the machine never met: strips between its lanes, and what else the map of its reach leaves out."""

from dataclasses import replace

import cv2
import numpy as np
from scipy import ndimage
from scipy.special import stdtrit
from skimage.measure import find_contours, points_in_poly

from ...arrays import Floats, Mask
from ...grains.table import zone_members
from ...inputs.patch import Patch
from ..records import Fates, Lanes, MissedPlace, Reach, Strip
from .survival import Survival

#: How often chance alone may make a missed place anywhere in the patch.
_CHANCE = 0.05
#: The same for a strip that is called wider than the others.
_WIDE_CHANCE = 0.01


def find_missed(
    survival: Survival, fates: Fates, patch: Patch, reach: Reach, lanes: Lanes | None
) -> tuple[MissedPlace, ...]:
    """Outline the places that the machine never met.

    Parameters
    ----------
    survival : Survival
        What was learned of the pass.
    fates : Fates
        What became of the grains in one pass.
    patch : Patch
        The patch that they lie in.
    reach : Reach
        Where the machine acted, of the same grains.
    lanes : Lanes, optional
        Its strips are places of their own; what they hold is not looked for again.

    Returns
    -------
    tuple of MissedPlace
        Those that hold most of the leftovers first. Specks that chance could make of grains reached and left are
        missing: the likelihood ratio of a place's grains together is at least twenty times the number of grains, each
        of which might have been the middle of such a speck.
    """
    strips = () if lanes is None else lanes.strips
    wide = _wider(strips)
    outlines = [strip_outline(strip, patch) for strip in strips]
    found = [
        _place(fates, patch, "wide" if much else "strip", outline, [])
        for outline, much in zip(outlines, wide, strict=True)
        if len(outline)
    ]
    for outline, holes in _outlines(survival, patch, reach, [o for o in outlines if len(o)]):
        place = _place(fates, patch, "place", outline, holes)
        near = 2 * max(reach.grid.mm_per_px, survival.sites.spacing_mm)
        found.append(place if lanes is None else replace(place, at_turns=_at_turns(outline, lanes, patch, near)))
    return tuple(sorted(found, key=lambda place: -place.left_mm2))


def _at_turns(outline: Floats, lanes: Lanes, patch: Patch, near_mm: float) -> bool:
    """Whether a place lies where the lanes end: at a border that they run against, and short along them.

    One that is longer than half of the patch there is rather a lane that was left out.
    """
    turn = np.deg2rad(lanes.heading_deg)
    size = np.array([patch.width_mm, patch.height_mm])
    axis = 0 if abs(np.cos(turn)) >= np.sqrt(0.5) else 1
    low, high = float(outline[:, axis].min()), float(outline[:, axis].max())
    return min(low, float(size[axis]) - high) <= near_mm and high - low < size[axis] / 2


def _wider(strips: tuple[Strip, ...]) -> list[bool]:
    """Which strips are wider than all others lead to expect: above the prediction interval of one more like them.

    Notes
    -----
    The upper limit of a further value is mean + t s √(1 + 1/n) (Student's t with n − 1 degrees of freedom; G. J. Hahn,
    W. Q. Meeker, "Statistical intervals", 1991). Of as many strips as there are the widest is looked at, so the chance
    is shared among them.
    """
    if len(strips) < 3:
        return [False] * len(strips)
    many = len(strips) - 1
    factor = float(stdtrit(many - 1, 1 - _WIDE_CHANCE / len(strips))) * np.sqrt(1 + 1 / many)
    widths = np.array([strip.width_mm for strip in strips])
    known = np.array([strip.width_u_mm for strip in strips])
    wide = []
    for number, strip in enumerate(strips):
        others = np.delete(np.arange(len(strips)), number)
        # The widths' own scatter holds their uncertainty; of few it may come out too small by luck.
        scatter = max(float(widths[others].std(ddof=1)), float(np.sqrt((known[others] ** 2).mean())), strip.width_u_mm)
        wide.append(bool(strip.width_mm > widths[others].mean() + factor * scatter))
    return wide


def strip_outline(strip: Strip, patch: Patch) -> Floats:
    """Outline of a strip, shape (N, 2), clipped to the patch; empty where it lies outside."""
    ends = np.array(strip.ends_mm)
    along = ends[1] - ends[0]
    # Off 0 for a strip without length.
    across = np.array([-along[1], along[0]]) / max(float(np.hypot(*along)), 1e-9) * strip.width_mm / 2
    corners = np.array([ends[0] + across, ends[1] + across, ends[1] - across, ends[0] - across], np.float32)
    area, both = cv2.intersectConvexConvex(corners, patch.corners_mm().astype(np.float32))
    if area <= 0 or both is None:
        return np.zeros((0, 2))
    return np.asarray(np.clip(both.reshape(-1, 2).astype(float), 0, (patch.width_mm, patch.height_mm)))


def _outlines(
    survival: Survival, patch: Patch, reach: Reach, strips: list[Floats]
) -> list[tuple[Floats, list[Floats]]]:
    """Outline and holes of every place beside the strips that the map leaves out and the grains prove."""
    grid = reach.grid
    missed = np.nan_to_num(1 - reach.map.astype(float), nan=0.0)
    x, y = np.meshgrid(grid.x_mm(), grid.y_mm())
    cells = np.column_stack([x.ravel(), y.ravel()])
    for strip in strips:
        inside = inside_outline(cells, strip).reshape(grid.shape)
        # The map's border is a cell wide.
        missed[ndimage.binary_dilation(inside, iterations=2)] = 0
    labels, count = ndimage.label(missed > 0.5, np.ones((3, 3)))
    sites = survival.sites
    column, row = np.round(grid.to_px(np.column_stack([sites.x_mm, sites.y_mm]))).astype(int).T
    row, column = np.clip(row, 0, grid.height_px - 1), np.clip(column, 0, grid.width_px - 1)
    reached, not_reached = survival.evidence
    proof = np.bincount(labels[row, column], not_reached - reached, count + 1)[1:]
    proven = 1 + np.flatnonzero(proof > np.log(max(len(sites), 1) / _CHANCE))
    found = []
    for number in proven:
        own = ndimage.binary_dilation(labels == number, np.ones((3, 3), bool))
        # Framed by a cell of 0, a contour along the patch's border runs on it.
        field = np.pad(np.where(own & ((labels == number) | (labels == 0)), missed, 0), 1)
        rings = [_simple(ring) for ring in find_contours(field, 0.5)]  # type: ignore[no-untyped-call]
        places = [
            np.clip(
                (ring[:, ::-1] - 1) * grid.mm_per_px + (grid.x0_mm, grid.y0_mm), 0, (patch.width_mm, patch.height_mm)
            )
            for ring in rings
            if len(ring) > 2
        ]
        if places:
            outer = max(range(len(places)), key=lambda i: _area(places[i]))
            found.append((places[outer], [ring for i, ring in enumerate(places) if i != outer]))
    return found


def _simple(ring: Floats) -> Floats:
    """A closed contour with as few corners as stay within half a cell of it."""
    return np.asarray(cv2.approxPolyDP(ring[:-1].astype(np.float32)[:, None], 0.5, True)[:, 0], float)


def _place(fates: Fates, patch: Patch, what: str, outline: Floats, holes: list[Floats]) -> MissedPlace:
    grains = fates.later
    lying = zone_members(patch, grains)["patch"]
    spots = np.column_stack([grains.x_mm, grains.y_mm])
    inside = lying & inside_outline(spots, outline)
    for hole in holes:
        inside &= ~inside_outline(spots, hole)
    # Of fine grains the mean alone is right, so that their sum may come out a little below 0.
    left = max(0.0, float((grains.area_mm2 * fates.untouched)[inside].sum()))
    everything = float(grains.area_mm2[lying].sum())
    return MissedPlace(
        what=what,
        polygon_mm=tuple((float(x), float(y)) for x, y in outline),
        area_mm2=_area(outline) - sum(_area(hole) for hole in holes),
        left_mm2=left,
        share_percent=100 * left / everything if everything > 0 else 0.0,
    )


def inside_outline(places: Floats, outline: Floats) -> Mask:
    """Which places of shape (N, 2) lie in an outline of shape (M, 2), mm."""
    inside: Mask = points_in_poly(places.reshape(-1, 2), outline)  # type: ignore[no-untyped-call]
    return inside.astype(bool)


def _area(outline: Floats) -> float:
    """Area of a polygon (the shoelace formula)."""
    x, y = outline.T
    return float(abs(x @ np.roll(y, -1) - y @ np.roll(x, -1)) / 2)
