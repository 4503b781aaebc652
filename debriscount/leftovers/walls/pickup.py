"""How much less is picked up near a wall: pickup against the distance from its foot, and that of open floor."""

from itertools import pairwise

import numpy as np

from ...arrays import Floats, Mask
from ...grains.table import GrainTable
from ...inputs.patch import OPEN, Patch
from ...stats.proportion import Interval, effective_count, wilson
from ...stats.quantity import coverage_factor95
from ..records import Fates, Lanes, LocalPickup, Strip, WallPickup
from .find import along_wall, depth_mm, to_wall

#: Pieces of the wall's length that are compared, as for a gap's step: neighbours share their fate, pieces do not.
_PIECES = 8
#: Grains that a bin holds on average: a share of 40 is known to 0.08 or better (binomial, one half).
_BIN_GRAINS = 40
#: Bins in the depth of the edge zone at most: a course is read off them, not every grain.
_MOST_NEAR = 3
#: How near to a wall's foot a strip begins that is the wall's: its border is known to the middle between two grains.
_AT_FOOT_MM = 5.0


def pickup_along_walls(fates: Fates, patch: Patch, lanes: Lanes | None) -> tuple[WallPickup, ...]:
    """Find how much was picked up at which distance from each wall.

    Parameters
    ----------
    fates : Fates
        From the shot that the pass began with to the shot after it.
    patch : Patch
        Its walls.
    lanes : Lanes or None
        Strips between them are left out, of walls and open floor alike, but for one that begins at the wall's foot
        all along.

    Returns
    -------
    tuple of WallPickup
        One a wall. Distances reach up to half the patch's depth, and grains near another wall or in a corner are kept
        out, as in the profiles of what stays.
    """
    strips = () if lanes is None else lanes.strips
    return tuple(_along(fates, patch, wall, strips) for wall in patch.walls)


def _along(fates: Fates, patch: Patch, wall: str, strips: tuple[Strip, ...]) -> WallPickup:
    between = [strip for strip in strips if not _at_wall(strip, patch, wall)]
    earlier, later = fates.earlier, fates.later
    clear = ~_in_strips(earlier, between), ~_in_strips(later, between)
    lay, lies = along_wall(earlier, patch, wall) & clear[0], along_wall(later, patch, wall) & clear[1]
    was, now = to_wall(earlier, patch, wall), to_wall(later, patch, wall)
    edges = _edges(earlier.take(lay & (was < depth_mm(patch, wall))), patch, wall)

    def pickup(before: Mask, after: Mask) -> LocalPickup:
        return _pickup(earlier.take(before), later.take(after), patch, wall)

    bins = tuple(
        pickup(lay & (was >= low) & (was < high), lies & (now >= low) & (now < high))
        for low, high in pairwise(edges.tolist())
    )
    near = pickup(lay & (was < patch.edge_mm), lies & (now < patch.edge_mm))
    free = pickup((earlier.zone == OPEN) & clear[0], (later.zone == OPEN) & clear[1])
    less, less_interval95 = _less(near, free)
    return WallPickup(
        wall=wall,
        edges_mm=tuple(edges.tolist()),
        bins=bins,
        near_mm=patch.edge_mm,
        near=near,
        open=free,
        less_percent=less,
        less_interval95=less_interval95,
        strips_mm=tuple(span for strip in between if (span := _all_along(strip, patch, wall)) is not None),
    )


def _in_strips(grains: GrainTable, strips: list[Strip]) -> Mask:
    inside = np.zeros(len(grains), bool)
    for strip in strips:
        (x0, y0), (x1, y1) = strip.ends_mm
        across = ((grains.x_mm - x0) * (y1 - y0) - (grains.y_mm - y0) * (x1 - x0)) / max(
            np.hypot(x1 - x0, y1 - y0), 1e-9
        )
        inside |= np.abs(across) <= strip.width_mm / 2
    return inside


def _edges(grains: GrainTable, patch: Patch, wall: str) -> Floats:
    """Bins up to half the patch's depth, parted where the edge zone ends."""
    depth = depth_mm(patch, wall)
    near = min(patch.edge_mm, depth)
    size = float(np.median(grains.diameter_mm)) if len(grains) else depth
    least = max(size, depth * _BIN_GRAINS / max(len(grains), 1))
    inner = int(np.clip(near // least, 1, _MOST_NEAR))
    outer = int((depth - near) // max(near / inner, least))
    if outer == 0:
        return np.array([0.0, near, depth] if depth > near else [0.0, depth])
    return np.concatenate([np.linspace(0, near, inner + 1), np.linspace(near, depth, outer + 1)[1:]])


def _ends(strip: Strip, patch: Patch, wall: str) -> Floats:
    """Distances of both ends of a strip's middle line from a wall, mm."""
    x, y = np.array(strip.ends_mm).T
    return np.asarray(patch.to_side_mm(wall, x, y))


def _at_wall(strip: Strip, patch: Patch, wall: str) -> bool:
    return bool((_ends(strip, patch, wall) - strip.width_mm / 2 < _AT_FOOT_MM).all())


def _all_along(strip: Strip, patch: Patch, wall: str) -> Interval | None:
    """Distances that a strip takes up all along a wall; None if it runs to the wall or away from it."""
    nearest, farthest = sorted(_ends(strip, patch, wall).tolist())
    low, high = farthest - strip.width_mm / 2, nearest + strip.width_mm / 2
    return (max(low, 0.0), high) if low < high else None


def _pickup(before: GrainTable, after: GrainTable, patch: Patch, wall: str) -> LocalPickup:
    """Pickup of some debris.

    The interval is Wilson's for as many grains as there are, or the one by the pieces of the wall's length where that
    is wider: the standard error of a ratio of sums over pieces (W. G. Cochran, Sampling Techniques, 3rd ed. 1977, 6.4).
    """
    lay, left = float(before.area_mm2.sum()), float(after.area_mm2.sum())
    if lay <= 0:
        return LocalPickup(None, None)
    share = left / lay
    stayed = min(share, 1.0)
    low, high = wilson(stayed, effective_count(before.area_mm2))
    across = wall in ("top", "bottom")
    length = patch.width_mm if across else patch.height_mm
    borders = np.linspace(0, length, _PIECES + 1)[1:-1]

    def by_piece(grains: GrainTable) -> Floats:
        piece = np.searchsorted(borders, grains.x_mm if across else grains.y_mm)
        return np.asarray(np.bincount(piece, grains.area_mm2, minlength=_PIECES), float)

    lay_by, left_by = by_piece(before), by_piece(after)
    some = lay_by + left_by > 0
    number = int(some.sum())
    half = 0.0
    if number > 1:
        apart = (left_by - share * lay_by)[some]
        half = coverage_factor95(number - 1) * float(np.sqrt(number / (number - 1) * (apart**2).sum())) / lay
    down, up = max(half, stayed - low), max(half, high - stayed)
    return LocalPickup(100 * (1 - share), (100 * (1 - share - up), min(100.0, 100 * (1 - share + down))))


def _less(near: LocalPickup, free: LocalPickup) -> tuple[float | None, Interval | None]:
    """By how many points less was picked up near.

    Half widths add as squares (R. G. Newcombe, Stat. Med. 17 (1998) 873-890, method 10).
    """
    if near.percent is None or free.percent is None or near.interval95 is None or free.interval95 is None:
        return None, None
    less = free.percent - near.percent
    down = np.hypot(free.percent - free.interval95[0], near.interval95[1] - near.percent)
    up = np.hypot(free.interval95[1] - free.percent, near.percent - near.interval95[0])
    return less, (float(less - down), float(less + up))
