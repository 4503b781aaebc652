"""What stays along walls and in corners: profiles, the gap that the machine leaves, and the corner that it rounds."""

import numpy as np

from ...arrays import Floats, Mask
from ...grains.table import GrainTable
from ...inputs.patch import CORNER, OPEN, Patch
from ...stats.proportion import Interval, mean_share
from ..reach.survival import GrainEvidence
from ..records import CornerReach, Fates, WallProfile, Walls, in_patch
from .step import Step, find_step

#: Grains that a bin of a profile holds on average: a share of 25 grains is known to 0.1 or better (binomial, one half).
_BIN_GRAINS = 25


def find_walls(said: GrainEvidence | None, fates: Fates, patch: Patch) -> Walls:
    """Find what stays along each wall and in each corner.

    Parameters
    ----------
    said : GrainEvidence or None
        What each grain says of its place; without it no gaps are told.
    fates : Fates
        From the shot that the pass began with to the shot after it.
    patch : Patch
        Its walls.

    Returns
    -------
    Walls
        Profiles and gaps reach up to half the patch's depth: what lies farther is nearer to the other side. Grains that
        lie nearer to another wall than its zones are wide are kept out of a wall's profile, so that corners and
        neighbouring gaps do not enter it; those within a wall's gap are kept out of what is said of a corner. Each
        leftover grain is laid to one wall or corner at most, so that their shares can be added.
    """
    later = in_patch(fates.later)
    steps = {wall: _wall_step(said, fates, patch, wall) for wall in patch.walls}
    corners = {pair: _corner_step(said, fates, patch, pair, steps) for pair in patch.wall_corners()}

    left = fates.later
    total = float(left.area_mm2[later].sum())
    claimed = np.zeros(len(left), bool)
    reaches = []
    for pair, step in corners.items():
        own = np.zeros(len(left), bool) if step is None else later & (_to_corner(left, patch, pair) < step.place_mm)
        claimed |= own
        reaches.append(CornerReach(pair, *_place(step), _share(float(left.area_mm2[own].sum()), total)))
    profiles = []
    for wall, step in steps.items():
        own = np.zeros(len(left), bool)
        if step is not None:
            own = later & ~claimed & (to_wall(left, patch, wall) < step.place_mm)
            claimed |= own
        profiles.append(_profile(fates, patch, wall, step, _share(float(left.area_mm2[own].sum()), total)))
    return Walls(tuple(profiles), tuple(reaches))


def _place(step: Step | None) -> tuple[float | None, Interval | None]:
    return (None, None) if step is None else (step.place_mm, step.interval95)


def _share(part: float, total: float) -> float:
    return 100 * part / total if total > 0 else 0.0


def depth_mm(patch: Patch, wall: str) -> float:
    """Half the patch's depth from a wall: what lies farther is nearer to the other side."""
    return (patch.height_mm if wall in ("top", "bottom") else patch.width_mm) / 2


def to_wall(grains: GrainTable, patch: Patch, wall: str) -> Floats:
    """Distance of each grain from the foot of a wall, mm; what seems to lie behind it lies at it."""
    return np.asarray(np.maximum(patch.to_side_mm(wall, grains.x_mm, grains.y_mm), 0.0))


def _to_corner(grains: GrainTable, patch: Patch, pair: tuple[str, str]) -> Floats:
    return np.hypot(to_wall(grains, patch, pair[0]), to_wall(grains, patch, pair[1]))


def along_wall(grains: GrainTable, patch: Patch, wall: str) -> Mask:
    """Which grains of the patch belong to a wall: clear of the corners and of what the neighbouring walls keep."""
    across = ("left", "right") if wall in ("top", "bottom") else ("top", "bottom")
    clear = in_patch(grains) & (grains.zone != CORNER)
    for other in across:
        if other in patch.walls:
            clear &= to_wall(grains, patch, other) >= max(patch.corner_mm, patch.edge_mm)
    return np.asarray(clear)


def _wall_step(said: GrainEvidence | None, fates: Fates, patch: Patch, wall: str) -> Step | None:
    grains = fates.earlier
    along = grains.x_mm if wall in ("top", "bottom") else grains.y_mm
    own, distance = along_wall(grains, patch, wall), to_wall(grains, patch, wall)
    return _step(said, fates, own, distance, along, depth_mm(patch, wall))


def _corner_step(
    said: GrainEvidence | None, fates: Fates, patch: Patch, pair: tuple[str, str], steps: dict[str, Step | None]
) -> Step | None:
    """Step from a corner outwards, by angle in place of length along the wall."""
    grains = fates.earlier
    own = in_patch(grains)
    for wall in patch.walls:
        step = steps[wall]
        if step is not None:
            own &= to_wall(grains, patch, wall) >= step.place_mm
    first, second = (to_wall(grains, patch, wall) for wall in pair)
    reach = min(depth_mm(patch, wall) for wall in pair)
    return _step(said, fates, own, np.hypot(first, second), np.arctan2(first, second), reach)


def _step(
    said: GrainEvidence | None, fates: Fates, own: Mask, distance: Floats, along: Floats, reach_mm: float
) -> Step | None:
    if said is None:
        return None
    # Of the grains that say something, those that are asked.
    asked = own[said.inside]
    own = own & said.inside
    return find_step(distance[own], along[own], fates.stayed[own], said.ratio[asked], said.usual, reach_mm)


def _profile(fates: Fates, patch: Patch, wall: str, step: Step | None, share: float) -> WallProfile:
    depth = depth_mm(patch, wall)
    before, left = along_wall(fates.earlier, patch, wall), along_wall(fates.later, patch, wall)
    far = to_wall(fates.earlier, patch, wall)
    edges = _bin_edges(fates.earlier.take(before & (far < depth)), depth)

    def sums(grains: GrainTable, chosen: Mask, weight: Floats) -> Floats:
        area = grains.area_mm2[chosen] * weight[chosen]
        return np.asarray(np.histogram(to_wall(grains, patch, wall)[chosen], edges, weights=area)[0])

    lay = sums(fates.earlier, before, np.ones(len(fates.earlier)))
    lies = sums(fates.later, left, np.ones(len(fates.later)))
    untouched = np.clip(sums(fates.later, left, fates.untouched), 0, lies)
    stays: dict[bool, float | None] = {True: None, False: None}
    if step is not None:
        near = before & (far < step.place_mm)
        beyond = (fates.earlier.zone == OPEN) & (far >= step.place_mm)
        for within, chosen in ((True, near), (False, beyond)):
            found = mean_share(fates.stayed[chosen], fates.earlier.area_mm2[chosen])
            stays[within] = None if found is None else 100 * found[0]
    gap_mm, interval95 = _place(step)
    return WallProfile(
        wall=wall,
        edges_mm=tuple(edges.tolist()),
        before_mm2=tuple(lay.tolist()),
        untouched_mm2=tuple(untouched.tolist()),
        shifted_mm2=tuple((lies - untouched).tolist()),
        gap_mm=gap_mm,
        gap_interval95=interval95,
        left_percent=stays[True],
        beyond_percent=stays[False],
        share_percent=share,
    )


def _bin_edges(grains: GrainTable, depth_mm: float) -> Floats:
    """Bins of equal width up to a depth: no finer than a grain, and with enough grains to tell a share."""
    size = float(np.median(grains.diameter_mm)) if len(grains) else depth_mm
    width = max(size, depth_mm * _BIN_GRAINS / max(len(grains), 1))
    return np.linspace(0, depth_mm, max(1, int(depth_mm // width)) + 1)
