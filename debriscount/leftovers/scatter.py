"""Debris that was moved: how much into the margin, how much onto bare places, how far at least, and which way."""

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree
from scipy.special import bdtrc

from ..arrays import Floats, Mask
from ..grains.table import GrainTable
from ..inputs.patch import MARGIN, WALL_SIDES, Patch
from ..stats.proportion import Interval, effective_count, wilson
from .losses import BY_CHANCE, Moved, moved_from_losses, one_way
from .records import Fates, Scatter, in_patch

#: Earlier grains nearest to a later one among which those that it touches are sought.
_NEIGHBOURS = 6
_OPPOSITE = {"top": "bottom", "right": "left", "bottom": "top", "left": "right"}
_OUTWARD = {"top": (0.0, -1.0), "right": (1.0, 0.0), "bottom": (0.0, 1.0), "left": (-1.0, 0.0)}


def find_scatter(fates: Fates, patch: Patch) -> Scatter:
    """Find what became of the debris that was moved and not picked up.

    Parameters
    ----------
    fates : Fates
        From the shot that the pass began with to the shot after it.
    patch : Patch
        Its sides and margin.

    Returns
    -------
    Scatter
        Distances and direction are told of kinds whose grains are matched one by one. The distance to the nearest place
        that lost a grain of the same kind is a lower bound of the way that a grain went. The direction is the mean one
        of `one_way`'s vectors, if they lean to one side, and of the outward directions of all that came to the margin,
        if a side of it got more than chance.
    """
    earlier, later = fates.earlier, fates.later
    lay = float(earlier.area_mm2[in_patch(earlier)].sum())
    moved = moved_from_losses(fates, patch)
    came = _came_to_sides(fates, patch)
    side = _preferred_side(patch, came)
    direction, strength = _direction(moved, came if side is not None else {})
    ends, percent = _histogram(moved, later)
    margin, interval = _margin_share(fates, patch, lay)
    return Scatter(
        margin_percent=margin,
        margin_interval95=interval,
        margin_sides=_gain_by_side(fates, patch),
        bare_percent=100 * _bare_mm2(fates) / lay if lay > 0 else None,
        direction_deg=direction,
        strength=strength,
        distance_mm=ends,
        distance_percent=percent,
        median_distance_mm=_median(moved.least_mm, later.area_mm2[moved.grains]),
        side=side,
    )


def _margin_share(fates: Fates, patch: Patch, lay_mm2: float) -> tuple[float | None, Interval | None]:
    """Gain of the margin over what lay in the patch, percent, and its 95 % interval.

    The interval is that of a difference, half widths of what came and what left added as squares: R. G. Newcombe,
    Statistics in Medicine 17 (1998) 873-890, method 10. What the margin lost was never in the patch; a loss is no gain.
    """
    if lay_mm2 <= 0 or "margin" not in patch.zone_names():
        return None, None
    earlier, later = fates.earlier, fates.later
    before, after = earlier.zone == MARGIN, later.zone == MARGIN
    gain = max(0.0, float(later.area_mm2[after].sum() - earlier.area_mm2[before].sum()) / lay_mm2)
    came = float((later.area_mm2 * (1 - fates.untouched))[after].sum()) / lay_mm2
    left = float((earlier.area_mm2 * (1 - fates.stayed))[before].sum()) / lay_mm2
    count = effective_count(earlier.area_mm2[in_patch(earlier)])
    came, left = min(max(came, 0.0), 1.0), min(max(left, 0.0), 1.0)
    (came_low, came_high), (left_low, left_high) = wilson(came, count), wilson(left, count)
    if not before.any():
        left_low = left_high = left
    down, up = np.hypot(came - came_low, left_high - left), np.hypot(came_high - came, left - left_low)
    return 100 * gain, (100 * max(0.0, float(gain - down)), 100 * float(gain + up))


def _side_of(grains: GrainTable, patch: Patch) -> NDArray[np.int_]:
    """Side of the patch beyond which each grain of the margin lies farthest, an index into ``WALL_SIDES``."""
    return np.asarray(
        np.stack([patch.to_side_mm(side, grains.x_mm, grains.y_mm) for side in WALL_SIDES]).argmin(axis=0)
    )


def _by_side(grains: GrainTable, patch: Patch, weight: Floats) -> dict[str, float]:
    """Sums of the margin's grains by side, of the sides without a wall."""
    margin = grains.zone == MARGIN
    sums = np.bincount(_side_of(grains, patch)[margin], weight[margin], len(WALL_SIDES))
    return {side: float(total) for side, total in zip(WALL_SIDES, sums, strict=True) if side not in patch.walls}


def _gain_by_side(fates: Fates, patch: Patch) -> dict[str, float]:
    """Each side's share of what the margin gained, percent; a side that lost has none. Empty without a gain."""
    before = _by_side(fates.earlier, patch, fates.earlier.area_mm2)
    after = _by_side(fates.later, patch, fates.later.area_mm2)
    if sum(after.values()) <= sum(before.values()):
        return {}
    gains = {side: max(0.0, after[side] - before[side]) for side in after}
    return {side: 100 * gain / sum(gains.values()) for side, gain in gains.items()}


def _came_to_sides(fates: Fates, patch: Patch) -> dict[str, float]:
    """How many grains came to the margin by side."""
    came = _by_side(fates.later, patch, 1 - fates.untouched)
    return {side: max(0.0, number) for side, number in came.items()}


def _preferred_side(patch: Patch, came: dict[str, float]) -> str | None:
    """Side that got more grains than its share of the margin's area, and than the side opposite.

    By binomial tests, the first one for as many sides as there are. The second one keeps out what is pushed over the
    border to and fro at the ends of lanes.
    """
    areas = {}
    for side in came:
        length = patch.width_mm if side in ("top", "bottom") else patch.height_mm
        across = ("left", "right") if side in ("top", "bottom") else ("top", "bottom")
        # Where two sides' strips meet, each has half of the square.
        areas[side] = length + patch.margin_mm / 2 * sum(other not in patch.walls for other in across)
    number = round(sum(came.values()))
    if number == 0 or "margin" not in patch.zone_names():
        return None
    chances = {}
    for side, area in areas.items():
        own, other = round(came[side]), round(came.get(_OPPOSITE[side], 0.0))
        chances[side] = _at_least(min(own, number), number, area / sum(areas.values()))
        chances[side] *= len(areas)
        if _OPPOSITE[side] in areas and own > 0:
            chances[side] = max(chances[side], _at_least(own, own + other, 0.5))
    best = min(chances, key=lambda side: chances[side])
    return best if chances[best] < BY_CHANCE else None


def _at_least(count: int, number: int, share: float) -> float:
    """Chance of so many or more of a number, each with that chance: the one-sided binomial test."""
    return float(bdtrc(count - 1, number, share)) if count > 0 else 1.0


def _bare_mm2(fates: Fates) -> float:
    """Area of moved grains of the patch that touch no place where a grain lay before."""
    earlier, later = fates.earlier, fates.later
    own = np.flatnonzero(in_patch(later))
    if not len(own):
        return 0.0
    bare: Mask = np.ones(len(own), bool)
    if len(earlier):
        places = [np.stack([grains.x_mm, grains.y_mm], axis=-1) for grains in (earlier, later)]
        nearest = [*range(1, min(_NEIGHBOURS, len(earlier)) + 1)]
        apart, index = cKDTree(places[0]).query(places[1][own], nearest)
        touches = apart <= (earlier.diameter_mm[index] + later.diameter_mm[own, None]) / 2
        bare = np.asarray(~touches.any(axis=1))
    return max(0.0, float((later.area_mm2 * (1 - fates.untouched))[own[bare]].sum()))


def _direction(moved: Moved, came: dict[str, float]) -> tuple[float | None, float | None]:
    """Mean direction, degrees, and how much of one it is, 0 to 1; None where none stands out."""
    total, number = np.zeros(2), 0.0
    fair = moved.way_mm[moved.fair] / moved.least_mm[moved.fair, None]
    if one_way(fair):
        total, number = fair.sum(axis=0), float(len(fair))
    for side, count in came.items():
        total = total + count * np.array(_OUTWARD[side])
        number += count
    if number == 0:
        return None, None
    return float(np.degrees(np.arctan2(total[1], total[0])) % 360), float(np.hypot(*total) / number)


def _histogram(moved: Moved, later: GrainTable) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """Upper ends of bins, mm, doubling from a grain's diameter on, and each one's share of the moved area, percent."""
    if not len(moved.grains):
        return (), ()
    area, apart = later.area_mm2[moved.grains], moved.least_mm
    size = float(np.median(later.diameter_mm[moved.grains]))
    doublings = max(0, int(np.ceil(np.log2(apart.max() / size)))) if apart.max() > 0 else 0
    ends = size * 2.0 ** np.arange(doublings + 1)
    bins = np.minimum(np.searchsorted(ends, apart), doublings)
    sums = np.bincount(bins, area, len(ends))
    return tuple(ends.tolist()), tuple((100 * sums / area.sum()).tolist())


def _median(values: Floats, weights: Floats) -> float | None:
    """Value below which half of the weight lies."""
    if not len(values):
        return None
    order = np.argsort(values)
    passed = np.cumsum(weights[order])
    return float(values[order][np.searchsorted(passed, passed[-1] / 2)])
