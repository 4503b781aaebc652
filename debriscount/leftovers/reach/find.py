"""Where the machine acted: a map, and the share of the debris of every zone that lay there.

A grain that was taken away or moved proves that the machine was there. One that lies untouched was reached and left, or
never reached; `learn_survival` tells which is likelier. Pickup of all is the share reached times the pickup of what was
reached.
"""

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage
from scipy.spatial import cKDTree

from ...arrays import Floats, Mask
from ...grains.table import zone_members
from ...inputs.patch import OPEN, ZONES, Patch
from ...registration.grid import FloorGrid
from ...stats.proportion import Interval
from ...stats.quantity import Z95
from ..records import Fates, Reach, ReachedShare
from .sites import Sites
from .survival import Survival

Pickups = Mapping[str, tuple[float | None, Interval | None]]

#: Grains that a zone must have held: of four, any share of them is compatible with less than half and more than half of
#: all [Wilson's interval of 2 in 4 is 15 to 85 %], so that a figure would say nothing.
_LEAST_GRAINS = 5
#: A share that may be less than half of what it seems is not known to a factor of two, nor is a pickup divided by it.
_LEAST_KNOWN = 0.5
#: Share of the one density in the other from which on debris lies evenly enough to tell floor.
_EVENLY = 0.5
#: Variance of an area whose border is known by places strewn at random, mm^4, per length of the border and cubed
#: distance of the border from the nearest place: 120 times 20 by 76 such places about two straight borders.
BORDER = 1.13
#: Parts of a cell's side by which the size of a zone is told.
FINER = 4
#: Draws of what chance leaves open, for each set of parameters.
_REPEATS = 40


def find_reach(
    survival: Survival, fates: Fates, patch: Patch, pickups: Pickups, grid: FloorGrid | None = None
) -> Reach:
    """Tell where the machine acted.

    Parameters
    ----------
    survival : Survival
        What was learned of the pass.
    fates : Fates
        What became of the grains in one pass.
    patch : Patch
        The patch that they lie in.
    pickups : mapping of str to (float or None, interval or None)
        Pickup by zone and its 95 % interval, percent, of the same pass.
    grid : FloorGrid, optional
        Raster of the map; by default as fine as the grains tell.

    Returns
    -------
    Reach

    Notes
    -----
    The intervals are drawn (JCGM 101:2008): parameters and reasons from `Survival`, then what each grain's chance
    leaves open, then the pickup, normal with the standard uncertainty that its interval gives, as photographs and not
    grains make it uncertain. The share reached is as uncertain by photographs as the pickup: floor that passes for
    debris that stayed makes both too low by as much as it is of all. That of the floor also holds how well strewn
    places tell a border, and holes without any.
    """
    sites = survival.sites
    grid = coarse_grid(sites, patch) if grid is None else grid
    chance, told_share = draw_map(survival, patch, grid)
    zones = {}
    for name, member in zone_members(patch, fates.earlier).items():
        if name != "margin":
            place = sites.of_grain[member]
            inside = place >= 0
            area = np.bincount(place[inside], fates.earlier.area_mm2[member][inside], len(sites)).astype(float)
            enough = int(inside.sum()) >= _LEAST_GRAINS and area.sum() > 0
            zones[name] = _share(survival, area, *pickups.get(name, (None, None))) if enough else _UNKNOWN
    floor = _UNKNOWN
    if _lies_evenly(sites, patch, chance, grid):
        inside = patch.inside(grid.x_mm()[None, :], grid.y_mm()[:, None])
        more = _border_variance(sites, chance, grid) + _hole_variance(chance, inside)
        more += _spread(pickups.get("patch", (None, None))[1]) ** 2
        floor = _share(survival, _floor_of(sites, patch, grid), None, None, more)
    return Reach(zones, grid, chance, told_share, floor, sites.spacing_mm)


_UNKNOWN = ReachedShare(None, None, None, None)


def _floor_of(sites: Sites, patch: Patch, grid: FloorGrid) -> Floats:
    """How many of the map's cells each place speaks for, shape (len(sites),)."""
    inside, place, weight, told = _surroundings(sites, patch, grid)
    weight = weight * _true_share(patch, grid, inside)[:, None]
    return np.bincount(place[told].ravel(), weight[told].ravel(), len(sites)).astype(float)


def _true_share(patch: Patch, grid: FloorGrid, inside: Mask) -> Floats:
    """Of each cell in the patch, how large its zone is over what the zone's cells make of it.

    A strip along a wall is a cell or two wide.
    """
    fine = FloorGrid(
        grid.x0_mm + (1 / FINER - 1) * grid.mm_per_px / 2,
        grid.y0_mm + (1 / FINER - 1) * grid.mm_per_px / 2,
        grid.mm_per_px / FINER,
        grid.height_px * FINER,
        grid.width_px * FINER,
    )
    zones, own = (patch.zone_codes(g.x_mm()[None, :], g.y_mm()[:, None]) for g in (fine, grid))
    true, cells = (np.bincount(z[z >= 0].ravel(), minlength=len(ZONES)) for z in (zones, own))
    return np.asarray((true / FINER**2 / np.maximum(cells, 1))[own[inside]])


def _lies_evenly(sites: Sites, patch: Patch, chance: NDArray[np.float32], grid: FloorGrid) -> bool:
    """Whether debris lay about as thick on open floor where the machine was as where it was not.

    Zones are told apart on the map, so that what lies thick along a wall does no harm. What a pass before has left lies
    where that was not; then a place missed seems to reach as far as the next grain.
    """
    column, row = np.rint(grid.to_px(np.column_stack([sites.x_mm, sites.y_mm]))).astype(int).T
    inside = (column >= 0) & (column < grid.width_px) & (row >= 0) & (row < grid.height_px)
    here = chance[row[inside], column[inside]]
    here = here[patch.zone_codes(sites.x_mm[inside], sites.y_mm[inside]) == OPEN]
    there = chance[patch.zone_codes(grid.x_mm()[None, :], grid.y_mm()[:, None]) == OPEN]
    places = np.array([(here > 0.5).sum(), (here <= 0.5).sum()])
    cells = np.array([(there > 0.5).sum(), (there <= 0.5).sum()])
    thick = places[cells > 0] / cells[cells > 0]
    return len(thick) > 0 and bool(thick.min() >= _EVENLY * thick.max())


def _border_variance(sites: Sites, chance: NDArray[np.float32], grid: FloorGrid) -> float:
    """Variance of the share of floor reached for the border of what was, which lies anywhere between two places."""
    told = np.isfinite(chance)
    reached = chance > 0.5
    steps = [
        told[a] & told[b] & (reached[a] != reached[b])
        for a, b in ((np.s_[1:], np.s_[:-1]), (np.s_[:, 1:], np.s_[:, :-1]))
    ]
    row, column = np.concatenate([np.argwhere(step) for step in steps]).T
    border = np.column_stack([grid.x_mm()[column], grid.y_mm()[row]])
    away = np.asarray(cKDTree(np.column_stack([sites.x_mm, sites.y_mm])).query(border)[0])
    # Steps along rows and columns are longer than a border in any direction, by 4 / π on average.
    area = np.pi / 4 * grid.mm_per_px * BORDER * float((away**3).sum())
    return float(area / max(told.sum() * grid.mm_per_px**2, 1.0) ** 2)


def _hole_variance(chance: NDArray[np.float32], inside: Mask) -> float:
    """Variance of the share of floor reached for holes without debris: each was reached, or not, by itself."""
    holes = inside & ~np.isfinite(chance)
    sizes = np.bincount(ndimage.label(holes)[0].ravel())[1:]
    share = float(np.nanmean(chance > 0.5)) if np.isfinite(chance).any() else 0.5
    return share * (1 - share) * float((sizes.astype(float) ** 2).sum()) / max(int(inside.sum()), 1) ** 2


def _share(
    survival: Survival, area: Floats, pickup: float | None, interval: Interval | None, more_variance: float = 0.0
) -> ReachedShare:
    """Figures of a zone whose debris covered ``area`` at each place."""
    weight = area / area.sum()
    # What was picked up was reached.
    least = min(max((pickup or 0.0) / 100, 0.0), 1.0)
    share = max(float(weight @ survival.reached), least)
    rng = np.random.default_rng(0)
    mean = survival.draws @ weight
    left_open = survival.near.summed_variance(weight * np.sqrt(survival.reached * (1 - survival.reached)))
    shares = (mean[:, None] + np.sqrt(left_open + more_variance) * rng.standard_normal((len(mean), _REPEATS))).ravel()
    spread = _spread(interval)
    seen = shares + spread * rng.standard_normal(len(shares))
    around = _interval(100 * np.clip(seen, least, 1.0), 100 * share)
    shares = np.clip(shares, least, 1.0)
    if pickup is None or share <= 0 or around[0] < _LEAST_KNOWN * 100 * share:
        return ReachedShare(100 * share, around, None, None)
    there = None
    if interval is not None:
        drawn = pickup + 100 * spread * rng.standard_normal(len(shares))
        # All that was reached is the most that can be picked up.
        there = _interval(np.minimum(drawn / np.maximum(shares, 1e-6), 100.0), pickup / share)
    return ReachedShare(100 * share, around, pickup / share, there)


def _spread(interval: Interval | None) -> float:
    """Standard uncertainty of a share, 0 to 1, by its 95 % interval in percent; 0 where that is unknown."""
    return 0.0 if interval is None else (interval[1] - interval[0]) / (200 * Z95)


def _interval(drawn: Floats, value: float) -> Interval:
    """Symmetric in probability, and holding the value itself."""
    low, high = np.quantile(drawn, [0.025, 0.975])
    return float(min(low, value)), float(max(high, value))


#: Cells a spacing. Two show a border between two grains where it is likeliest, half way.
_CELLS = 2
#: Most cells along a side; finer ones would not be seen.
_MOST = 240
#: Spacings within which a place must lie for a cell to be told: of grains strewn at random, one hole in a thousand is
#: wider (exp(-π r²)).
_TOLD = 1.5
#: Width over which places count, in spacings: less than to the next place, so that strips stay as narrow as they are.
_WIDTH = 0.5
#: Places that a cell looks at: those that surround it; the seventh weighs next to nothing at that width.
_NEAREST = 6


def coarse_grid(sites: Sites, patch: Patch) -> FloorGrid:
    """A raster over the patch, its cells half the distance between neighbouring places."""
    longest = max(patch.width_mm, patch.height_mm)
    step = max(sites.spacing_mm / _CELLS, longest / _MOST)
    columns, rows = (max(1, round(v / step)) for v in (patch.width_mm, patch.height_mm))
    step = max(patch.width_mm / columns, patch.height_mm / rows)
    # A hair less, so that rounding adds no cell.
    columns, rows = (int(np.ceil(v / step - 1e-9)) for v in (patch.width_mm, patch.height_mm))
    # Square cells that overhang alike on both sides.
    return FloorGrid(
        (patch.width_mm - (columns - 1) * step) / 2, (patch.height_mm - (rows - 1) * step) / 2, step, rows, columns
    )


def draw_map(survival: Survival, patch: Patch, grid: FloorGrid) -> tuple[NDArray[np.float32], float]:
    """Chance that each cell was reached, float32 of ``grid.shape``, and the share of the patch where it is told.

    NaN outside the patch and where no debris lies near.
    """
    inside, place, weight, told = _surroundings(survival.sites, patch, grid)
    chance = np.full(grid.shape, np.nan, np.float32)
    value = (weight * survival.reached[place]).sum(axis=1)
    value[~told] = np.nan
    chance[inside] = value
    return chance, float(np.isfinite(value).mean()) if inside.any() else 0.0


def _surroundings(sites: Sites, patch: Patch, grid: FloorGrid) -> tuple[Mask, NDArray[np.intp], Floats, Mask]:
    """Cells in the patch, shape ``grid.shape``; of each the nearest places of its zone, their weights, whether told."""
    x, y = np.meshgrid(grid.x_mm(), grid.y_mm())
    inside = patch.inside(x, y)
    cells, spots = np.column_stack([x[inside], y[inside]]), np.column_stack([sites.x_mm, sites.y_mm])
    cell_zone, site_zone = patch.zone_codes(*cells.T), patch.zone_codes(*spots.T)
    away = np.full((len(cells), _NEAREST), np.inf)
    place = np.zeros(away.shape, np.intp)
    # Debris left along a wall lies thicker than that around it, and would speak for floor far before the wall.
    for zone in np.unique(cell_zone):
        own = np.flatnonzero(site_zone == zone)
        own = own if len(own) else np.arange(len(sites))
        nearest = np.arange(1, min(_NEAREST, len(own)) + 1)
        here = np.flatnonzero(cell_zone == zone)
        far, number = cKDTree(spots[own]).query(cells[here], nearest)
        away[here, : len(nearest)], place[here, : len(nearest)] = far, own[np.asarray(number)]
    away /= sites.spacing_mm
    # Weights count from the nearest place, so that far from all of them one still has its say.
    weight = np.exp(-0.5 * (away**2 - away[:, :1] ** 2) / _WIDTH**2)
    return inside, place, weight / weight.sum(axis=1, keepdims=True), away[:, 0] <= _TOLD
