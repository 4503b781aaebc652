from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import binom

from debriscount.grains.table import zone_members
from debriscount.inputs.debris import DebrisKind
from debriscount.inputs.patch import CustomZone, Patch
from debriscount.layout.lay_patch import lay_patch
from debriscount.layout.lay_room import lay_room
from debriscount.leftovers.reach.find import coarse_grid, draw_map
from debriscount.leftovers.reach.neighbours import find_neighbours
from debriscount.leftovers.reach.survival import Survival
from debriscount.leftovers.records import Reach, ReachedShare
from debriscount.registration.grid import FloorGrid
from debriscount.simulate.spec import Cleaning, Portion, SceneSpec
from debriscount.simulate.truth import draw_truth

from ..conftest import reach_of, true_fates
from .strewn import OPEN_FLOOR, Floats, fates_of, left, sites_of, strewn

CORNER = lay_patch(600, 400, ("top", "left"))
Case = tuple[Reach, dict[str, float | None], dict[str, float | None]]


def spec_of(seed: int, patch: Patch = CORNER, size: float = 3.0, cover: float = 0.03, **cleaning: Any) -> SceneSpec:
    values: dict[str, Any] = {"pitch_mm": 150.0, "width_mm": 130.0, "offset_mm": 40.0} | cleaning
    kind = DebrisKind("grit", (90, 150, 60), (0.85 * size, 1.15 * size))
    return SceneSpec(patch, (Portion(kind, cover_share=cover),), passes=(Cleaning(**values),), seed=seed)


def case(seed: int, **changes: Any) -> Case:
    """Reach as found, share reached and pickup as they truly were, by zone, percent."""
    spec = spec_of(seed, **changes)
    truth = draw_truth(spec)
    pickup = truth.pickup_percent(1)
    reach = reach_of(true_fates(spec), spec.patch, {zone: (value, None) for zone, value in pickup.items()})
    assert reach is not None
    return reach, truth.reached_percent(1), pickup


def errors(seeds: range, **changes: Any) -> list[float]:
    """How far the patch's pickup where reached is off, points."""
    found = []
    for seed in seeds:
        reach, reached, pickup = case(seed, **changes)
        there, of_all, share = reach.zones["patch"].pickup_percent, pickup["patch"], reached["patch"]
        assert there is not None
        assert of_all is not None
        assert share is not None
        found.append(abs(there - 100 * of_all / share))
    return found


@pytest.mark.parametrize(
    "changes",
    [
        {"heading_deg": 23.0},
        {"width_mm": 150.0},
        {"width_mm": 118.0, "size": 8.0, "pickup": 0.75},
        {"path": "wander", "width_mm": 140.0, "reach_share": 0.8},
        {"path": "everywhere", "edge_pickup": 0.3},
        {"path": "everywhere", "wall_gap_mm": 12.0, "corner_radius_mm": 50.0},
    ],
    ids=["oblique", "overlapping", "coarse", "wander", "everywhere", "gap"],
)
def test_pickup_where_reached_is_right(changes: dict[str, Any]) -> None:
    assert np.median(errors(range(40, 43), **changes)) < 1.5


def test_pickup_of_all_is_the_share_reached_times_the_pickup_there() -> None:
    reach, _, pickup = case(11)
    assert set(reach.zones) == {"patch", "open", "edge", "corner"}
    for name, zone in reach.zones.items():
        assert zone.share_percent is not None
        assert zone.pickup_percent is not None
        assert pickup[name] == pytest.approx(zone.share_percent * zone.pickup_percent / 100)


def test_intervals_hold_the_truth_about_as_often_as_they_say() -> None:
    held = []
    for seed in range(200, 212):
        strip = (0.0, 6.0, 14.0, 30.0)[seed % 4]
        changes: dict[str, Any] = {"width_mm": 150.0 - strip, "heading_deg": 13.0 * seed, "size": 3.0 + seed % 3}
        reach, reached, _ = case(seed, **changes)
        interval, truly = reach.zones["patch"].interval95, reached["patch"]
        assert interval is not None
        assert truly is not None
        held.append(interval[0] - 0.05 <= truly <= interval[1] + 0.05)
    # Of 12 intervals that hold the truth in 95 % as few as this are held in one series of a thousand (binomial).
    assert sum(held) >= binom.ppf(0.001, 12, 0.95)


def half_width(share: ReachedShare) -> float:
    assert share.interval95 is not None
    return (share.interval95[1] - share.interval95[0]) / 2


def test_the_pickups_uncertainty_widens_that_of_the_share_reached_and_of_what_was_picked_up_there() -> None:
    spec = spec_of(3)
    fates = true_fates(spec)
    narrow, wide = (reach_of(fates, spec.patch, {"patch": (80.0, (80.0 - w, 80.0 + w))}) for w in (0.1, 4.0))
    assert narrow is not None
    assert wide is not None
    # Closed form: standard uncertainties of independent sources add as squares (GUM 5.1.2).
    own, both = (half_width(reach.zones["patch"]) for reach in (narrow, wide))
    assert both == pytest.approx(np.hypot(own, 4.0), rel=0.1)
    own, both = (half_width(reach.floor) for reach in (narrow, wide))
    assert both == pytest.approx(np.hypot(own, 4.0), rel=0.1)
    a, b = narrow.zones["patch"].pickup_interval95, wide.zones["patch"].pickup_interval95
    assert a is not None
    assert b is not None
    # Closed form: relative standard uncertainties add as squares in a quotient (GUM 5.1.6).
    share, ends = wide.zones["patch"].share_percent, narrow.zones["patch"].interval95
    assert share is not None
    assert ends is not None
    expected = 100 * 80 / share * np.hypot(4.0 / 80, (ends[1] - ends[0]) / 2 / share)
    assert (b[1] - b[0]) / 2 == pytest.approx(expected, rel=0.15)
    assert b[1] - b[0] > a[1] - a[0]


def test_an_unknown_pickup_leaves_the_share_known() -> None:
    spec = spec_of(5)
    reach = reach_of(true_fates(spec), spec.patch, {})
    assert reach is not None
    zone = reach.zones["patch"]
    assert zone.share_percent is not None
    assert zone.pickup_percent is None
    assert zone.pickup_interval95 is None


def test_zones_with_hardly_a_grain_are_unknown_and_custom_zones_reported() -> None:
    zones = (CustomZone("left", ((0, 0), (250, 0), (250, 400), (0, 400))), CustomZone("dot", ((1, 1), (3, 1), (2, 3))))
    patch = replace(OPEN_FLOOR, custom_zones=zones)
    x, y = strewn(900, patch, 4)
    far = np.hypot(x - 2, y - 2) > 10
    x, y = x[far], y[far]
    fates = fates_of(x, y, left(x > 100, 0.1, 6), patch)
    reach = reach_of(fates, patch, {"left": (50.0, None)})
    assert reach is not None
    assert reach.zones["dot"].share_percent is None
    inside = zone_members(patch, fates.earlier)["left"]
    assert reach.zones["left"].share_percent == pytest.approx(100 * np.mean(x[inside] > 100), abs=2.5)


def test_few_grains_give_no_reach() -> None:
    x, y = strewn(12, OPEN_FLOOR, 0)
    assert reach_of(fates_of(x, y, np.ones(12)), OPEN_FLOOR, {}) is None


def test_the_map_shows_what_was_reached_and_is_silent_where_no_debris_lay() -> None:
    x, y = strewn(3000, OPEN_FLOOR, 2)
    lay = x < 400
    x, y = x[lay], y[lay]
    reach = reach_of(fates_of(x, y, left(x > 150, 0.05, 3)), OPEN_FLOOR, {})
    assert reach is not None
    grid = reach.grid
    assert reach.map.shape == grid.shape
    assert reach.map.dtype == np.float32
    column = grid.x_mm()
    assert np.isnan(reach.map[:, column > 440]).all()
    assert np.nanmax(reach.map[:, column < 130]) < 0.2
    assert np.nanmedian(reach.map[:, (column > 170) & (column < 390)]) > 0.95
    assert reach.told_share == pytest.approx(2 / 3, abs=0.08)


def test_the_map_can_be_drawn_on_another_raster() -> None:
    x, y = strewn(500, OPEN_FLOOR, 2)
    grid = FloorGrid(-50.0, -50.0, 20.0, 25, 35)
    reach = reach_of(fates_of(x, y, left(x > 150, 0.05, 3)), OPEN_FLOOR, {}, grid)
    assert reach is not None
    assert reach.grid == grid
    outside = (grid.x_mm()[None] < 0) | (grid.y_mm()[:, None] < 0)
    assert np.isnan(reach.map[np.broadcast_to(outside, grid.shape)]).all()


@given(seed=st.integers(0, 10_000), stays=st.floats(0.02, 0.5), cut=st.floats(0, 500))
@settings(max_examples=15)
def test_shares_lie_in_their_intervals_and_hold_what_was_taken(seed: int, stays: float, cut: float) -> None:
    x, y = strewn(200, OPEN_FLOOR, seed)
    stayed = left(x > cut, stays, seed + 1)
    reach = reach_of(fates_of(x, y, stayed), OPEN_FLOOR, {"patch": (50.0, (49.0, 51.0))})
    assert reach is not None
    zone = reach.zones["patch"]
    assert zone.share_percent is not None
    assert zone.interval95 is not None
    assert 0 <= zone.interval95[0] <= zone.share_percent <= zone.interval95[1] <= 100
    # A grain taken away proves that the machine was there, but for the one or two in a hundred that are misjudged.
    assert zone.share_percent > 100 * np.mean(stayed == 0) - 3


def test_what_was_picked_up_was_reached_and_no_more_than_all_of_it() -> None:
    """Photos and grains may err apart: 99.9 % picked up of which the grains say that less was reached."""
    spec = spec_of(7, width_mm=115.0)
    reach = reach_of(true_fates(spec), spec.patch, {"patch": (99.9, (99.0, 100.0))})
    assert reach is not None
    zone = reach.zones["patch"]
    assert zone.share_percent == pytest.approx(99.9)
    assert zone.pickup_percent == pytest.approx(100)
    assert zone.pickup_interval95 is not None and zone.pickup_interval95[1] <= 100


def test_a_share_not_known_to_a_factor_of_two_makes_no_pickup_there() -> None:
    spec = spec_of(8, pickup=0.0, edge_pickup=0.0, corner_pickup=0.0, displaced_share=0.0, flung_share=0.0)
    reach = reach_of(true_fates(spec), spec.patch, {"patch": (-0.2, (-2.0, 1.5))})
    zone = None if reach is None else reach.zones["patch"]
    assert zone is None or (zone.pickup_percent, zone.pickup_interval95) == (None, None)


def survival_of(x: Floats, y: Floats, reached: Floats) -> Survival:
    sites = sites_of(x, y, 1 - np.round(reached))
    nothing = np.zeros(len(x))
    return Survival(
        sites=sites,
        near=find_neighbours(sites),
        reached=reached,
        stays=nothing,
        evidence=(nothing, nothing),
        draws=reached[None],
        lost=0.01,
        usual=0.9,
    )


@given(count=st.integers(100, 2000), seed=st.integers(0, 10_000))
@settings(max_examples=25)
def test_the_raster_covers_the_patch_with_square_cells_of_half_a_spacing(count: int, seed: int) -> None:
    sites = sites_of(*strewn(count, OPEN_FLOOR, seed), np.ones(count))
    grid = coarse_grid(sites, OPEN_FLOOR)
    # Of N grains strewn over an area A each has A / N, the square of the spacing.
    assert grid.mm_per_px == pytest.approx(np.sqrt(600 * 400 / count) / 2, rel=0.12)
    half = grid.mm_per_px / 2
    for centres, side in ((grid.x_mm(), 600), (grid.y_mm(), 400)):
        before, after = half - centres[0], centres[-1] + half - side
        assert before == pytest.approx(after, abs=1e-6)
        assert -1e-6 < before < half


def test_cells_are_not_finer_than_can_be_seen() -> None:
    grid = coarse_grid(sites_of(*strewn(90_000, OPEN_FLOOR, 1), np.ones(90_000)), OPEN_FLOOR)
    assert max(grid.shape) == 240


def test_a_cell_is_told_by_the_nearest_places_by_their_distance() -> None:
    # Outside check: all distances by hand, weights of a normal curve half a spacing wide over the six nearest places.
    x, y = strewn(80, OPEN_FLOOR, 3)
    reached = np.random.default_rng(4).random(80)
    grid = FloorGrid(5.0, 5.0, 10.0, 40, 60)
    survival = survival_of(x, y, reached)
    chance, told = draw_map(survival, OPEN_FLOOR, grid)
    spacing = survival.sites.spacing_mm
    for row, column in ((0, 0), (17, 31), (39, 59), (8, 50)):
        away = np.hypot(x - grid.x_mm()[column], y - grid.y_mm()[row]) / spacing
        six = np.argsort(away)[:6]
        weight = np.exp(-2 * away[six] ** 2)
        expected = weight @ reached[six] / weight.sum() if away.min() <= 1.5 else np.nan
        assert chance[row, column] == pytest.approx(expected, nan_ok=True, abs=1e-5)
    assert told == pytest.approx(np.isfinite(chance).mean())


def test_borders_run_half_way_between_places() -> None:
    x, y = (v.ravel().astype(float) for v in np.meshgrid(np.arange(10, 600, 20), np.arange(10, 400, 20)))
    survival = survival_of(x, y, (x > 300).astype(float))
    grid = FloorGrid(2.5, 2.5, 5.0, 80, 120)
    chance, told = draw_map(survival, OPEN_FLOOR, grid)
    assert told == 1
    assert ((chance > 0.5) == (grid.x_mm() > 300)).all()


def test_nothing_is_told_outside_the_patch_and_far_from_debris() -> None:
    x, y = strewn(400, OPEN_FLOOR, 5)
    hole = np.hypot(x - 300, y - 200) < 120
    x, y = x[~hole], y[~hole]
    grid = FloorGrid(-97.5, -97.5, 5.0, 120, 160)
    chance, told = draw_map(survival_of(x, y, np.ones(len(x))), OPEN_FLOOR, grid)
    across, down = np.meshgrid(grid.x_mm(), grid.y_mm())
    outside = (across < 0) | (across > 600) | (down < 0) | (down > 400)
    assert np.isnan(chance[outside]).all()
    # Debris lies 27 mm apart where it lies; a place tells of a cell up to 1.5 times as far away.
    middle = np.hypot(across - 300, down - 200)
    assert np.isnan(chance[middle < 75]).all()
    assert np.isfinite(chance[~outside & (middle > 125)]).mean() > 0.99
    assert told == pytest.approx(np.isfinite(chance[~outside]).mean())


@given(seed=st.integers(0, 10_000), low=st.floats(0, 1), high=st.floats(0, 1))
@settings(max_examples=20)
def test_chances_stay_between_those_of_the_places(seed: int, low: float, high: float) -> None:
    low, high = sorted((low, high))
    x, y = strewn(40, OPEN_FLOOR, seed)
    reached = np.random.default_rng(seed).uniform(low, high, 40)
    chance, told = draw_map(survival_of(x, y, reached), OPEN_FLOOR, FloorGrid(5.0, 5.0, 10.0, 40, 60))
    assert chance.dtype == np.float32
    assert np.nanmin(chance) >= reached.min() - 1e-6
    assert np.nanmax(chance) <= reached.max() + 1e-6
    assert 0 < told <= 1


def test_fewer_places_than_a_cell_asks_for_tell_all_the_same() -> None:
    x, y = np.array([100.0, 500.0, 300.0]), np.array([100.0, 120.0, 300.0])
    chance, _ = draw_map(survival_of(x, y, np.full(3, 0.25)), OPEN_FLOOR, FloorGrid(5.0, 5.0, 10.0, 40, 60))
    assert np.nanmin(chance) == pytest.approx(0.25)
    assert np.nanmax(chance) == pytest.approx(0.25)


def test_the_share_of_floor_is_the_maps_mean_and_holds_the_truth() -> None:
    # Debris lies thicker on the right, so that the share of debris reached is another than that of the floor.
    x, y = strewn(4000, OPEN_FLOOR, 2)
    kept = (x > 300) | (np.arange(4000) % 4 > 0)
    x, y = x[kept], y[kept]
    stayed = left(x < 400, 0.05, 3)
    taken = 100 * float(1 - stayed.mean())
    reach = reach_of(fates_of(x, y, stayed), OPEN_FLOOR, {"patch": (taken, None)})
    assert reach is not None
    assert reach.floor.share_percent == pytest.approx(100 * float(np.nanmean(reach.map)), abs=1e-3)
    assert reach.floor.interval95 is not None
    low, high = reach.floor.interval95
    # A border along the raster's own columns is off by part of a cell everywhere alike.
    assert low - 0.2 <= 100 * 400 / 600 <= high + 0.2
    assert high - low < 6
    debris = reach.zones["patch"].share_percent
    assert debris is not None
    assert reach.floor.share_percent is not None
    assert debris < reach.floor.share_percent - 2


def test_of_floor_nothing_is_told_where_debris_lay_mostly_where_the_machine_was_not() -> None:
    x, y = strewn(3000, OPEN_FLOOR, 2)
    kept = (x > 400) | (np.arange(3000) % 5 == 0)
    x, y = x[kept], y[kept]
    stayed = left(x < 400, 0.05, 3)
    reach = reach_of(fates_of(x, y, stayed), OPEN_FLOOR, {"patch": (None, None)})
    assert reach is not None
    assert reach.floor.share_percent is None
    assert reach.zones["patch"].share_percent is not None


def test_a_gap_as_deep_as_the_edge_zone_is_not_taken_for_floor_that_was_reached() -> None:
    # A room: debris lies farther apart than the gap is deep, and one grain in seventy is misjudged.
    room = lay_room(3000, 2500, ("top", "left"))
    x, y = strewn(3000, room, 4)
    reached = (x >= 30) & (y >= 30)
    stayed = left(reached, 0.1, 5)
    wrong = np.random.default_rng(6).random(len(x)) < 0.015
    found = reach_of(fates_of(x, y, np.where(wrong, 1 - stayed, stayed), room), room, {})
    assert found is not None
    edge, floor = found.zones["edge"], found.floor
    assert edge.share_percent == pytest.approx(0, abs=5)
    low, high = floor.interval95 or (np.nan, np.nan)
    true = 100 * 2970 * 2470 / (3000 * 2500)
    assert low <= true <= high
    assert floor.share_percent == pytest.approx(true, abs=0.5)
