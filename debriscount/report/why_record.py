"""What is said of the leftovers, as plain JSON values of the measurement's record."""

from typing import Any

import numpy as np

from ..inputs.patch import Patch
from ..leftovers.records import (
    CornerReach,
    FurtherPass,
    Interval,
    Lanes,
    Leftovers,
    LeftShares,
    MissedPlace,
    PassStep,
    Reach,
    ReachedShare,
    Scatter,
    Strip,
    WallProfile,
    Walls,
    WhyLeft,
)
from .lookup import zones_in_order
from .rounding import AREA_DECIMALS, LENGTH_DECIMALS, PERCENT_DECIMALS, rounded

JsonObject = dict[str, Any]

_COARSE = 64  # cells of the stored map of reach along its longer side, at most
_DEGREE_DECIMALS = 2


def why_json(why: WhyLeft | None, step: PassStep | None, patch: Patch) -> JsonObject:
    """Return what is said of one pass' leftovers, the keys of the record's pass that go with it.

    Parameters
    ----------
    why : WhyLeft or None
        Why debris stayed in the pass.
    step : PassStep or None
        What the pass brought.
    patch : Patch
        Its zones.

    Returns
    -------
    dict
        "leftovers" and "lanes" at least; without ``why`` their figures are None. Percent, millimetres, square
        millimetres and degrees; unknown figures are None.
    """
    return {**_step(step), **_why(why, patch)}


def further_json(further: FurtherPass | None) -> JsonObject | None:
    """Return what one more pass may bring, or None."""
    if further is None:
        return None
    return {
        "together_percent": _percent(further.together_percent),
        "interval95": _ends(further.interval95, PERCENT_DECIMALS),
        "sentence": further.sentence,
    }


def _step(step: PassStep | None) -> JsonObject:
    if step is None:
        return {}
    return {
        "of_found_percent": _percent(step.of_found_percent),
        "of_found_interval95": _ends(step.of_found_interval95, PERCENT_DECIMALS),
        "together_percent": _percent(step.together_percent),
        "missed_again_percent": _percent(step.missed_again_percent),
        "missed_again_by_chance_percent": _percent(step.missed_again_by_chance_percent),
    }


def _why(why: WhyLeft | None, patch: Patch) -> JsonObject:
    if why is None:
        return {"leftovers": {"untouched_percent": None, "shifted_percent": None}, "lanes": None}
    return {
        "leftovers": _leftovers(why.leftovers, patch),
        "lanes": None if why.lanes is None else _lanes(why.lanes),
        "reach": None if why.reach is None else _reach(why.reach, patch),
        "missed": [_missed(place) for place in why.missed],
        "wall": _walls(why.walls),
        "scatter": _scatter(why.scatter),
        "findings": [
            {"what": f.what, "share_percent": _percent(f.share_percent), "sentence": f.sentence} for f in why.findings
        ],
    }


def _leftovers(leftovers: Leftovers, patch: Patch) -> JsonObject:
    whole = leftovers.zones.get("patch")
    return {
        "untouched_percent": None if whole is None else _percent(whole.untouched_percent),
        "shifted_percent": None if whole is None else _percent(whole.shifted_percent),
        "interval95": None if whole is None else _ends(whole.untouched_interval95, PERCENT_DECIMALS),
        "zones": _shares(leftovers.zones, patch),
        "kinds": {
            kind: {
                "matched": leftovers.matched.get(kind),
                "least_shift_mm": _mm(leftovers.least_shift_mm.get(kind)),
                "chance_percent": _percent(leftovers.chance_percent.get(kind)),
                "zones": _shares(zones, patch),
            }
            for kind, zones in leftovers.kinds.items()
        },
    }


def _shares(zones: dict[str, LeftShares], patch: Patch) -> JsonObject:
    return {
        name: {
            "area_mm2": rounded(left.area_mm2, AREA_DECIMALS),
            "untouched_percent": _percent(left.untouched_percent),
            "shifted_percent": _percent(left.shifted_percent),
            "interval95": _ends(left.untouched_interval95, PERCENT_DECIMALS),
        }
        for name, left in zones_in_order(zones, patch).items()
    }


def _lanes(lanes: Lanes) -> JsonObject:
    return {
        "heading_deg": _heading(lanes.heading_deg, 180),
        "heading_u_deg": rounded(lanes.heading_u_deg, _DEGREE_DECIMALS),
        "pitch_mm": _mm(lanes.pitch_mm),
        "pitch_u_mm": _mm(lanes.pitch_u_mm),
        "strip_mm": _mm(lanes.strip_mm),
        "strip_u_mm": _mm(lanes.strip_u_mm),
        "lanes": None if lanes.lanes is None else int(lanes.lanes),
        "straight_mm": _mm(lanes.straight_mm),
        "share_percent": _percent(lanes.share_percent),
        "strips": [_strip(strip) for strip in lanes.strips],
    }


def _strip(strip: Strip) -> JsonObject:
    return {
        "ends_mm": [[_mm(x), _mm(y)] for x, y in strip.ends_mm],
        "width_mm": _mm(strip.width_mm),
        "width_u_mm": _mm(strip.width_u_mm),
        "straight_mm": _mm(strip.straight_mm),
        "share_percent": _percent(strip.share_percent),
    }


def _reach(reach: Reach, patch: Patch) -> JsonObject:
    return {
        "told_percent": _percent(100 * reach.told_share),
        "zones": {name: _reached(share) for name, share in zones_in_order(reach.zones, patch).items()},
        "map": _map(reach),
    }


def _reached(share: ReachedShare) -> JsonObject:
    return {
        "reached_percent": _percent(share.share_percent),
        "interval95": _ends(share.interval95, PERCENT_DECIMALS),
        "pickup_percent": _percent(share.pickup_percent),
        "pickup_interval95": _ends(share.pickup_interval95, PERCENT_DECIMALS),
    }


def _map(reach: Reach) -> JsonObject:
    """Means over square blocks of the map, whole percent by rows; None where less than half a block could be told."""
    block = -(-max(reach.map.shape) // _COARSE)
    height, width = (-(-n // block) for n in reach.map.shape)
    padded = np.full((height * block, width * block), np.nan)
    padded[: reach.map.shape[0], : reach.map.shape[1]] = reach.map
    blocks = padded.reshape(height, block, width, block)
    told = np.isfinite(blocks)
    count = told.sum(axis=(1, 3))
    mean = np.where(told, blocks, 0).sum(axis=(1, 3)) / np.maximum(count, 1)
    percent = np.rint(100 * np.clip(mean, 0, 1)).astype(int)
    # The last blocks may reach beyond the map.
    rows, columns = (np.minimum(block, n - block * np.arange(-(-n // block))) for n in reach.map.shape)
    known = (count > 0) & (2 * count >= np.outer(rows, columns))
    grid, step = reach.grid, block * reach.grid.mm_per_px
    shift = (step - grid.mm_per_px) / 2  # from the first pixel's centre to the first block's
    return {
        "x0_mm": _mm(grid.x0_mm + shift),
        "y0_mm": _mm(grid.y0_mm + shift),
        "mm_per_px": _mm(step),
        "reached_percent": [
            [value if told else None for value, told in zip(row, seen, strict=True)]
            for row, seen in zip(percent.tolist(), known.tolist(), strict=True)
        ],
    }


def _missed(place: MissedPlace) -> JsonObject:
    return {
        "what": place.what,
        "polygon_mm": [[_mm(x), _mm(y)] for x, y in place.polygon_mm],
        "area_mm2": rounded(place.area_mm2, AREA_DECIMALS),
        "left_mm2": rounded(place.left_mm2, AREA_DECIMALS),
        "share_percent": _percent(place.share_percent),
    }


def _walls(walls: Walls) -> JsonObject:
    return {
        "walls": {profile.wall: _profile(profile) for profile in walls.walls},
        "corners": [_corner(corner) for corner in walls.corners],
    }


def _profile(profile: WallProfile) -> JsonObject:
    areas = {
        "before_mm2": profile.before_mm2,
        "untouched_mm2": profile.untouched_mm2,
        "shifted_mm2": profile.shifted_mm2,
    }
    return {
        "gap_mm": _mm(profile.gap_mm),
        "gap_interval95": _ends(profile.gap_interval95, LENGTH_DECIMALS),
        "left_percent": _percent(profile.left_percent),
        "beyond_percent": _percent(profile.beyond_percent),
        "share_percent": _percent(profile.share_percent),
        "edges_mm": [_mm(edge) for edge in profile.edges_mm],
        **{key: [rounded(area, AREA_DECIMALS) for area in values] for key, values in areas.items()},
    }


def _corner(corner: CornerReach) -> JsonObject:
    return {
        "walls": list(corner.walls),
        "radius_mm": _mm(corner.radius_mm),
        "radius_interval95": _ends(corner.radius_interval95, LENGTH_DECIMALS),
        "share_percent": _percent(corner.share_percent),
    }


def _scatter(scatter: Scatter) -> JsonObject:
    return {
        "margin_percent": _percent(scatter.margin_percent),
        "margin_interval95": _ends(scatter.margin_interval95, PERCENT_DECIMALS),
        "margin_sides": {side: _percent(share) for side, share in scatter.margin_sides.items()},
        "bare_percent": _percent(scatter.bare_percent),
        "direction_deg": _heading(scatter.direction_deg, 360),
        "strength": rounded(scatter.strength, PERCENT_DECIMALS),
        "distance_mm": [_mm(end) for end in scatter.distance_mm],
        "distance_percent": [_percent(share) for share in scatter.distance_percent],
        "median_distance_mm": _mm(scatter.median_distance_mm),
        "side": scatter.side,
    }


def _percent(value: float | None) -> float | None:
    return rounded(value, PERCENT_DECIMALS)


def _mm(value: float | None) -> float | None:
    return rounded(value, LENGTH_DECIMALS)


def _heading(value: float | None, turn: int) -> float | None:
    """Degrees below a whole turn: what is rounded up to it is 0."""
    degrees = rounded(value, _DEGREE_DECIMALS)
    return None if degrees is None else degrees % turn


def _ends(interval: Interval | None, decimals: int) -> list[float | None] | None:
    """Both ends of an interval, or None where either is unknown."""
    if interval is None:
        return None
    ends = [rounded(end, decimals) for end in interval]
    return None if None in ends else ends
