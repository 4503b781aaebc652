"""How well a run's pickup is known: named sources, propagated by Monte Carlo.

One run was fully photographed, so how many grains happened to stay is no part of it; that belongs to the spread
between runs. What is, is how well the photos show the debris that lay there.
"""

from dataclasses import dataclass

import numpy as np

from ..arrays import Floats, Mask
from ..grains.table import GrainTable, zone_members
from ..inputs.patch import Patch
from ..stats.montecarlo import Draws, Propagated, propagate
from .masses import crowding_factor
from .same_grains import USUAL
from .zones import zone_areas_mm2

TRIALS = 20_000
SEED = 20_000
#: Places of the zone borders that are tried for each shot.
BORDER_TRIES = 40
#: Standard deviation of what crowding does, as a share of what random overlap would hide: grains hide one another, and
#: shade between them counts as more.
CROWDING = 0.4
#: How much the pickup where the floor cannot be judged may differ from that elsewhere, as a share of the standard
#: deviation of whether a single grain is picked up: between all alike (0) and each place by itself (1); set by hand.
ELSEWHERE = 0.3
#: What the leftovers' area is off by, as a share of the part of all grains that is too faint to be seen: whether faint
#: grains stay as often as others is not known.
FAINT = 0.5
#: Most that may go unseen where some is seen, as a share of the debris.
MOST_UNSEEN = 0.99
#: Share of what two independent ways to the pickup, by area and by number, differ by that is taken for its uncertainty.
TWO_WAYS = 0.5
#: How many of a shot's grains are missed or made up, each by itself: in a wall's shade, beside another, in a joint.
MISSED = 0.02
#: Factor by which a thing's area differs from the usual grain's from which on it is no grain that strayed.
STRAYED = 2.5
#: The least by which leftovers may be off when no blank shows what of them is the floor's own pattern.
NO_BLANK = 0.02


@dataclass(frozen=True, slots=True, eq=False)
class ShotGrains:
    """Grains of a shot, what its colour limit's uncertainty does to each, mm², and how well the shot is placed, mm.

    ``residual_mm`` is how far the shot may lie from the others, ``place_mm`` how far all of them may lie from the
    floor's true places: standard uncertainties of a coordinate. ``alike_u`` is that of the logarithm of how much larger
    this shot shows grains than *before*.
    """

    grains: GrainTable
    limit_mm2: Floats
    residual_mm: float
    place_mm: float = 0.0
    alike_u: float = USUAL

    def of_kind(self, kind: int) -> "ShotGrains":
        """The grains of one kind alone."""
        own = self.grains.kind == kind
        return ShotGrains(self.grains.take(own), self.limit_mm2[own], self.residual_mm, self.place_mm, self.alike_u)


@dataclass(frozen=True, slots=True)
class Doubts:
    """What the photos leave open of a kind or of all.

    ``blind_share`` is the share of the floor on which debris cannot be judged, ``faint_share`` that of the debris whose
    grains are too faint to be seen, ``still_mm2`` how much of what lay still may be debris or floor.
    """

    blind_share: float = 0.0
    faint_share: float = 0.0
    still_mm2: float = 0.0

    @property
    def unseen_share(self) -> float:
        """Share of the debris that may go unseen, of which at least a little is seen."""
        return min(1 - (1 - self.blind_share) * (1 - self.faint_share), MOST_UNSEEN)


def pickup_uncertainty(
    patch: Patch,
    before: ShotGrains,
    after: ShotGrains,
    bare: ShotGrains | None,
    mm_per_px: float,
    doubts: Doubts = Doubts(),
) -> tuple[dict[str, tuple[float, float] | None], dict[str, float], dict[str, float]]:
    """95 % interval of each zone's pickup, the budget of the patch's, and how the zones' errors go with the patch's.

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
    doubts : Doubts
        What the photos leave open.

    Returns
    -------
    intervals : dict
        Percent, by zone; None for a zone that held nothing.
    budget : dict of str to float
        Standard uncertainty of the patch's pickup by source, percentage points.
    with_patch : dict of str to float
        By how many points each zone's pickup is likely off where the patch's is off by one: their covariance over the
        patch's variance.

    Notes
    -----
    Every source adds to the areas of *before* and *after*: the colour limit of each shot; how much larger one shows
    grains than the other; the floor's own 'debris' (Poisson, from the blank, and as dense as around the patch) or,
    without a blank, what of that which lay still may be floor; the floor that cannot be judged; grains too faint to be
    seen; single grains missed (Poisson); what pickup by area and by number differ by beyond chance; edge pixels, whose
    count for a disc of radius r has standard deviation 0.676 sqrt(r) [1]_; the places of the zone borders; and grains
    that hide or shade one another.

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
    missed = np.sqrt(MISSED * _sums(members, [s.grains.area_mm2**2 for s in shots]))
    borders = np.stack([_moved_borders(patch, s, k) for k, s in enumerate(shots)], axis=1) - area
    counts = np.array([[float(m.sum()) for m in zones.values()] for zones in members])
    if bare is None:
        floor = np.stack([np.zeros_like(area[0]), NO_BLANK * area[1]])
        common = np.hypot(_around_the_patch(patch, area[0], names), _spread_over(patch, names, doubts.still_mm2))
    else:
        spots = zone_members(patch, bare.grains)
        false = np.array([np.sqrt((bare.grains.area_mm2[m] ** 2).sum()) for m in spots.values()])
        odd = np.array([_odd(before.grains).dot(m * before.grains.area_mm2) for m in members[0].values()])
        floor = np.broadcast_to(np.hypot(false, _around_the_patch(patch, odd, names)), area.shape)
        common = np.zeros(len(names))
        area = area - [bare.grains.area_mm2[m].sum() for m in spots.values()]
        counts = counts - [float(m.sum()) for m in spots.values()]
    left = np.clip(area[1] / np.maximum(area[0], 1e-9), 0, 1)
    unjudged = doubts.blind_share * ELSEWHERE * np.sqrt(left * (1 - left)) * area[0]
    faint = FAINT * doubts.faint_share * area[1]
    ways = TWO_WAYS * _beyond_chance(area, counts, shots[0].grains) * area[0]
    second = np.array([0.0, 1.0])[:, None]

    sources = {
        "colour limit": lambda rng, n: rng.normal(size=(n, 2, 1)) * limit,
        "light": lambda rng, n: rng.normal(size=(n, 1, 1)) * second * after.alike_u * area,
        "floor": lambda rng, n: _each_zone(rng, n, floor, names) + rng.normal(size=(n, 1, 1)) * common,
        "not judged": lambda rng, n: rng.normal(size=(n, 1, 1)) * second * unjudged,
        "faint grains": lambda rng, n: rng.normal(size=(n, 1, 1)) * second * faint,
        "area against number": lambda rng, n: rng.normal(size=(n, 1, 1)) * second * ways,
        "missed grains": lambda rng, n: _each_zone(rng, n, missed, names),
        "edge pixels": lambda rng, n: _each_zone(rng, n, edge, names),
        "zone borders": lambda rng, n: borders[rng.integers(0, BORDER_TRIES, n)],
        "crowding": lambda rng, n: CROWDING * rng.normal(size=(n, 1, 1)) * hidden,
    }

    def model(draws: Draws) -> Floats:
        return _pickups(area + sum(draws.values()), names)

    result = propagate(model, sources, TRIALS, SEED)
    whole = names.index("patch")
    budget = {name: float(u[whole]) for name, u in result.by_source.items()}
    slopes = result.covariance[whole] / max(float(result.covariance[whole, whole]), 1e-30)
    with_patch = {name: float(slopes[k]) for k, name in enumerate(names) if area[0, k] > 0}
    return _intervals(result, names, area), budget, with_patch


def _each_zone(rng: np.random.Generator, n: int, u: Floats, names: list[str]) -> Floats:
    """Errors that each zone has of its own, shape (n, shots, zones); the patch's are those of its zones together.

    ``u`` of shape (shots, zones) holds their standard deviations, and that of the patch too.
    """
    draws = rng.normal(size=(n, *u.shape)) * u
    parts, whole = [k for k, name in enumerate(names) if name in ("open", "edge", "corner")], names.index("patch")
    spread = np.sqrt((u[:, parts] ** 2).sum(axis=-1))
    draws[:, :, whole] = draws[:, :, parts].sum(axis=-1) * u[:, whole] / np.maximum(spread, 1e-30)
    return np.asarray(draws)


def _sums(members: list[dict[str, Mask]], values: list[Floats]) -> Floats:
    """Sums by shot and zone, shape (shots, zones)."""
    return np.array([[v[m].sum() for m in zones.values()] for zones, v in zip(members, values, strict=True)])


def _around_the_patch(patch: Patch, area: Floats, names: list[str]) -> Floats:
    """What each zone would show if it showed as much as the margin does before anything was flung there, mm²."""
    floor = zone_areas_mm2(patch)
    if "margin" not in names or floor["margin"] <= 0:
        return np.zeros(len(names))
    density = max(float(area[names.index("margin")]), 0.0) / floor["margin"]
    return np.array([density * floor[name] for name in names])


def _odd(grains: GrainTable) -> Floats:
    """1 for what is far larger or smaller than the shot's usual grain, 0 for the rest: grains that strayed."""
    if not len(grains):
        return np.zeros(0)
    ratio = grains.area_mm2 / np.median(grains.area_mm2)
    return np.asarray((ratio < 1 / STRAYED) | (ratio > STRAYED), float)


def _spread_over(patch: Patch, names: list[str], total_mm2: float) -> Floats:
    """An area spread evenly over the patch, by zone, mm²."""
    floor = zone_areas_mm2(patch)
    return np.array([0.0 if name == "margin" else total_mm2 * floor[name] / floor["patch"] for name in names])


def _beyond_chance(area: Floats, counts: Floats, grains: GrainTable) -> Floats:
    """By how much the shares left by area and by number differ more than grains of unlike sizes make them, by zone."""
    start = np.maximum(counts[0], 1)
    left, by_area = (np.clip(v[1] / np.maximum(v[0], 1e-9), 0, 2) for v in (counts, area))
    differ = left - by_area
    sizes = grains.area_mm2
    spread = float(sizes.std() / sizes.mean()) if len(sizes) > 1 and sizes.mean() > 0 else 0.0
    chance = spread * np.sqrt(np.maximum(left * np.abs(1 - left), 1 / start) / start)
    return np.asarray(np.sqrt(np.maximum(differ**2 - chance**2, 0)))


def _random_overlap(grains: GrainTable) -> Floats:
    factor = np.ones(len(grains))
    for k in np.unique(grains.kind):
        own = grains.kind == k
        factor[own] = crowding_factor(grains.x_mm[own], grains.y_mm[own], grains.area_mm2[own], 1.0)
    return factor


def _moved_borders(patch: Patch, shot: ShotGrains, stream: int) -> Floats:
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


def _pickups(area: Floats, names: list[str]) -> Floats:
    """Pickup in percent, shape (trials, shots, zones) to (trials, zones)."""
    with np.errstate(divide="ignore", invalid="ignore"):
        pickup = 100 * (1 - area[:, 1] / area[:, 0])
        if "margin" in names:
            margin, whole = names.index("margin"), names.index("patch")
            gain = np.maximum(area[:, 1, margin] - area[:, 0, margin], 0)
            pickup[:, whole] -= 100 * gain / area[:, 0, whole]
    return np.asarray(np.nan_to_num(pickup, nan=0.0, posinf=0.0, neginf=0.0))


def _intervals(result: Propagated, names: list[str], area: Floats) -> dict[str, tuple[float, float] | None]:
    return {
        name: (float(result.interval95[k, 0]), float(result.interval95[k, 1])) if area[0, k] > 0 else None
        for k, name in enumerate(names)
    }
