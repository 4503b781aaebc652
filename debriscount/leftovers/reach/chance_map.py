"""The map of where the machine acted, on a raster as fine as the grains tell."""

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from ...inputs.patch import MARGIN, OUTSIDE, Patch
from ...registration.grid import FloorGrid
from .sites import Sites
from .survival import Survival

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
    columns, rows = (int(np.ceil(v / step - 1e-9)) for v in (patch.width_mm, patch.height_mm))
    # Square cells that overhang alike on both sides.
    return FloorGrid(
        (patch.width_mm - (columns - 1) * step) / 2, (patch.height_mm - (rows - 1) * step) / 2, step, rows, columns
    )


def draw_map(survival: Survival, patch: Patch, grid: FloorGrid) -> tuple[NDArray[np.float32], float]:
    """Chance that each cell was reached, float32 of ``grid.shape``, and the share of the patch where it is told.

    NaN outside the patch and where no debris lies near.
    """
    sites = survival.sites
    x, y = np.meshgrid(grid.x_mm(), grid.y_mm())
    zone = patch.zone_codes(x, y)
    inside = (zone != OUTSIDE) & (zone != MARGIN)
    chance = np.full(grid.shape, np.nan, np.float32)
    tree = cKDTree(np.column_stack([sites.x_mm, sites.y_mm]))
    away, place = tree.query(np.column_stack([x[inside], y[inside]]), min(_NEAREST, len(sites)))
    away, place = np.asarray(away) / sites.spacing_mm, np.asarray(place)
    # Weights count from the nearest place, so that far from all of them one still has its say.
    weight = np.exp(-0.5 * (away**2 - away[:, :1] ** 2) / _WIDTH**2)
    value = (weight * survival.reached[place]).sum(axis=1) / weight.sum(axis=1)
    value[away[:, 0] > _TOLD] = np.nan
    chance[inside] = value
    return chance, float(np.isfinite(value).mean()) if inside.any() else 0.0
