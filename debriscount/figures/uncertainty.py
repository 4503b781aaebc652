"""How well a run's pickup is known: named sources, propagated by Monte Carlo.

One run was fully photographed, so how many grains happened to stay is no part of it; that belongs to the spread
between runs. What is, is how well the photos show the debris that lay there.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..grains.table import GrainTable, zone_members
from ..inputs.patch import Patch
from .crowding import crowding_factor
from .montecarlo import Draws, Propagated, propagate

TRIALS = 20_000
SEED = 20_000
#: Places of the zone borders that are tried for each shot.
BORDER_TRIES = 40
#: Standard deviation of the share by which light and sharpness make a shot's grains larger than another's. Like
#: NO_BLANK and CROWDING it was set by hand with 80 simulated runs and the rendered photo sets in view, and checked on
#: other simulated runs (tests/benchmarks/coverage.py).
LIGHT = 0.007
#: Standard deviation of what crowding does, as a share of what random overlap would hide: grains hide one another, and
#: shade between them counts as more.
CROWDING = 0.3
#: The same as LIGHT for leftovers when no blank shows what of them is the floor's own pattern.
NO_BLANK = 0.06


@dataclass(frozen=True, slots=True, eq=False)
class ShotGrains:
    """Grains of a shot, what its colour limit's uncertainty does to each, mm², and how well the shot is placed, mm.

    ``residual_mm`` is how far the shot may lie from the others, ``place_mm`` how far all of them may lie from the
    floor's true places: standard uncertainties of a coordinate.
    """

    grains: GrainTable
    limit_mm2: NDArray[np.float64]
    residual_mm: float
    place_mm: float = 0.0

    def of_kind(self, kind: int) -> "ShotGrains":
        """The grains of one kind alone."""
        own = self.grains.kind == kind
        return ShotGrains(self.grains.take(own), self.limit_mm2[own], self.residual_mm, self.place_mm)


def pickup_uncertainty(
    patch: Patch, before: ShotGrains, after: ShotGrains, bare: ShotGrains | None, mm_per_px: float
) -> tuple[dict[str, tuple[float, float] | None], dict[str, float]]:
    """95 % interval of each zone's pickup, and the budget of the patch's.

    Parameters
    ----------
    patch : Patch
        Its zones.
    before, after : ShotGrains
        The two shots compared.
    bare : ShotGrains, optional
        What the blank shows as debris; None without a blank.
    mm_per_px : float
        Raster of the floor view.

    Returns
    -------
    intervals : dict
        Percent, by zone; None for a zone that held nothing.
    budget : dict of str to float
        Standard uncertainty of the patch's pickup by source, percentage points.

    Notes
    -----
    Every source adds to the areas of *before* and *after*: the colour limit and the light of each shot; the
    floor's own 'debris' (Poisson, from the blank) or, without a blank, its pattern; edge pixels, whose count for a
    disc of radius r has standard deviation 0.676 sqrt(r) [1]_; the places of the zone borders; and grains that
    hide or shade one another.

    References
    ----------
    .. [1] D. G. Kendall, On the number of lattice points inside a random oval, Quart. J. Math. 19 (1948) 1-26.
    """
    shots = (before, after)
    members = [zone_members(patch, s.grains) for s in shots]
    names = list(members[0])
    area = _sums(members, [s.grains.area_mm2 for s in shots])
    limit = _sums(members, [s.limit_mm2 for s in shots])
    radius = [np.sqrt(s.grains.area_mm2 / np.pi) / mm_per_px for s in shots]
    edge = np.sqrt(_sums(members, [0.6765**2 * r * mm_per_px**4 for r in radius]))
    hidden = _sums(members, [s.grains.area_mm2 * (_random_overlap(s.grains) - 1) for s in shots])
    borders = np.stack([_moved_borders(patch, s, k) for k, s in enumerate(shots)], axis=1) - area
    floor = np.stack([np.zeros_like(area[0]), NO_BLANK * area[1]])
    if bare is not None:
        spots = zone_members(patch, bare.grains)
        floor = np.broadcast_to([np.sqrt((bare.grains.area_mm2[m] ** 2).sum()) for m in spots.values()], area.shape)
        area = area - [bare.grains.area_mm2[m].sum() for m in spots.values()]
    shape = (len(shots), len(names))

    sources = {
        "colour limit": lambda rng, n: rng.normal(size=(n, 2, 1)) * limit,
        "light": lambda rng, n: LIGHT * rng.normal(size=(n, 2, 1)) * area,
        "floor": lambda rng, n: rng.normal(size=(n, *shape)) * floor,
        "edge pixels": lambda rng, n: rng.normal(size=(n, *shape)) * edge,
        "zone borders": lambda rng, n: borders[rng.integers(0, BORDER_TRIES, n)],
        "crowding": lambda rng, n: CROWDING * rng.normal(size=(n, 1, 1)) * hidden,
    }

    def model(draws: Draws) -> NDArray[np.float64]:
        return _pickups(area + sum(draws.values()), names)

    result = propagate(model, sources, TRIALS, SEED)
    return _intervals(result, names, area), {
        name: float(u[names.index("patch")]) for name, u in result.by_source.items()
    }


def _sums(members: list[dict[str, NDArray[np.bool_]]], values: list[NDArray[np.float64]]) -> NDArray[np.float64]:
    """Sums by shot and zone, shape (shots, zones)."""
    return np.array([[v[m].sum() for m in zones.values()] for zones, v in zip(members, values, strict=True)])


def _random_overlap(grains: GrainTable) -> NDArray[np.float64]:
    factor = np.ones(len(grains))
    for k in np.unique(grains.kind):
        own = grains.kind == k
        factor[own] = crowding_factor(grains.x_mm[own], grains.y_mm[own], grains.area_mm2[own], 1.0)
    return factor


def _moved_borders(patch: Patch, shot: ShotGrains, stream: int) -> NDArray[np.float64]:
    """Area by zone when the zones lie a little elsewhere, shape (BORDER_TRIES, zones).

    Try by try all shots are off together by what plane, lens and layout leave open, and each by itself.
    """
    shape = (BORDER_TRIES, 2)
    together = np.random.default_rng(SEED).normal(0, shot.place_mm, shape)
    apart = np.random.default_rng(SEED + 1 + stream).normal(0, shot.residual_mm, shape)
    g = shot.grains
    rows = []
    for dx, dy in together + apart:
        zone = patch.zone_codes(*patch.in_front_of_walls(g.x_mm + dx, g.y_mm + dy))
        moved = GrainTable(g.kind, g.x_mm + dx, g.y_mm + dy, g.area_mm2, zone)
        rows.append([g.area_mm2[m].sum() for m in zone_members(patch, moved).values()])
    return np.array(rows)


def _pickups(area: NDArray[np.float64], names: list[str]) -> NDArray[np.float64]:
    """Pickup in percent, shape (trials, shots, zones) to (trials, zones)."""
    with np.errstate(divide="ignore", invalid="ignore"):
        pickup = 100 * (1 - area[:, 1] / area[:, 0])
        if "margin" in names:
            margin, whole = names.index("margin"), names.index("patch")
            gain = np.maximum(area[:, 1, margin] - area[:, 0, margin], 0)
            pickup[:, whole] -= 100 * gain / area[:, 0, whole]
    return np.asarray(np.nan_to_num(pickup, nan=0.0, posinf=0.0, neginf=0.0))


def _intervals(
    result: Propagated, names: list[str], area: NDArray[np.float64]
) -> dict[str, tuple[float, float] | None]:
    return {
        name: (float(result.interval95[k, 0]), float(result.interval95[k, 1])) if area[0, k] > 0 else None
        for k, name in enumerate(names)
    }
