"""What is said of the leftovers, as plain JSON values of the measurement's record."""

import numpy as np

from ..inputs.patch import Patch
from ..leftovers.records import (
    Lanes,
    Leftovers,
    LeftShares,
    PassStep,
    Reach,
    Scatter,
    WallPickup,
    Walls,
    WhyLeft,
    WhySplit,
)
from ..serialize import LENGTH_DECIMALS, JsonObject, picked, plain, rounded
from .lookup import zones_in_order

_COARSE = 64  # cells of the stored map of reach along its longer side, at most


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
    brought = {} if step is None else plain(step)
    brought.pop("number", None)
    if why is None:
        return {**brought, "leftovers": {"untouched_percent": None, "shifted_percent": None}, "lanes": None}
    return {
        **brought,
        "leftovers": _leftovers(why.leftovers, patch),
        "why_left": {zone: _split(split) for zone, split in zones_in_order(why.split, patch).items()},
        "lanes": None if why.lanes is None else _lanes(why.lanes),
        "reach": None if why.reach is None else _reach(why.reach, patch),
        "missed": plain(why.missed),
        "wall": _walls(why.walls),
        "scatter": _scatter(why.scatter),
        "findings": plain(why.findings),
    }


def _leftovers(leftovers: Leftovers, patch: Patch) -> JsonObject:
    whole = leftovers.zones.get("patch", _UNKNOWN)
    return {
        **picked(whole, "untouched_percent shifted_percent interval95=untouched_interval95"),
        "zones": _shares(leftovers.zones, patch),
        "kinds": {
            kind: {
                "matched": leftovers.matched.get(kind),
                "least_shift_mm": plain(leftovers.least_shift_mm.get(kind), "least_shift_mm"),
                "chance_percent": plain(leftovers.chance_percent.get(kind), "chance_percent"),
                "zones": _shares(zones, patch),
            }
            for kind, zones in leftovers.kinds.items()
        },
    }


def _shares(zones: dict[str, LeftShares], patch: Patch) -> JsonObject:
    return {
        name: picked(left, "area_mm2 untouched_percent shifted_percent interval95=untouched_interval95")
        for name, left in zones_in_order(zones, patch).items()
    }


def _split(split: WhySplit) -> JsonObject:
    """Shares that sum to 100 as they are rounded."""
    shares: JsonObject = plain(split)
    lying = max(100 - shares["never_reached_percent"] - shares["moved_percent"], 0.0)
    return {**shares, "left_lying_percent": plain(lying, "left_lying_percent")}


def _lanes(lanes: Lanes) -> JsonObject:
    said = picked(
        lanes,
        "heading_deg heading_u_deg pitch_mm pitch_u_mm strip_mm strip_u_mm lanes straight_mm share_percent strips",
    )
    return said | {"heading_deg": _within_turn(said["heading_deg"], 180)}


def _reach(reach: Reach, patch: Patch) -> JsonObject:
    return {
        "told_percent": plain(100 * reach.told_share, "told_percent"),
        **picked(reach, "trust why spacing_mm"),
        "floor": picked(reach.floor, "reached_percent=share_percent interval95"),
        "zones": {
            name: picked(share, "reached_percent=share_percent interval95 pickup_percent pickup_interval95")
            for name, share in zones_in_order(reach.zones, patch).items()
        },
        "map": _map(reach),
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
        "x0_mm": plain(grid.x0_mm + shift, "x0_mm"),
        "y0_mm": plain(grid.y0_mm + shift, "y0_mm"),
        "mm_per_px": rounded(step, LENGTH_DECIMALS),
        "reached_percent": [
            [value if told else None for value, told in zip(row, seen, strict=True)]
            for row, seen in zip(percent.tolist(), known.tolist(), strict=True)
        ],
    }


def _walls(walls: Walls) -> JsonObject:
    names = (
        "gap_mm gap_interval95 left_percent beyond_percent share_percent edges_mm before_mm2 untouched_mm2 shifted_mm2"
    )
    return {
        "walls": {profile.wall: picked(profile, names) for profile in walls.walls},
        "corners": plain(walls.corners),
        "pickup": {one.wall: _wall_pickup(one) for one in walls.pickup},
    }


def _wall_pickup(found: WallPickup) -> JsonObject:
    """Of bins, in two lists, and of both places that are compared."""
    return {
        **picked(found, "edges_mm strips_mm near_mm less_percent less_interval95"),
        "pickup_percent": [plain(one.percent, "pickup_percent") for one in found.bins],
        "pickup_interval95": [plain(one.interval95, "interval95") for one in found.bins],
        "near": picked(found.near, "pickup_percent=percent interval95"),
        "open": picked(found.open, "pickup_percent=percent interval95"),
    }


def _scatter(scatter: Scatter) -> JsonObject:
    said: JsonObject = plain(scatter)
    return said | {"direction_deg": _within_turn(said["direction_deg"], 360)}


def _within_turn(degrees: float | None, turn: int) -> float | None:
    """Degrees below a whole turn: what is rounded up to it is 0."""
    return None if degrees is None else degrees % turn


#: Of a patch of which nothing is known.
_UNKNOWN = LeftShares(0.0, None, None, None)
