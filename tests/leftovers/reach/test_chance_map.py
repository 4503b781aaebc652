import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from debriscount.leftovers.reach.chance_map import coarse_grid, draw_map
from debriscount.leftovers.reach.neighbours import find_neighbours
from debriscount.leftovers.reach.survival import Survival
from debriscount.registration.grid import FloorGrid

from .strewn import OPEN_FLOOR, Floats, sites_of, strewn


def survival_of(x: Floats, y: Floats, reached: Floats) -> Survival:
    sites = sites_of(x, y, 1 - np.round(reached))
    nothing = np.zeros(len(x))
    return Survival(sites, find_neighbours(sites), reached, nothing, (nothing, nothing), reached[None])


@given(count=st.integers(30, 2000), seed=st.integers(0, 10_000))
@settings(max_examples=25, deadline=None)
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
@settings(max_examples=20, deadline=None)
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
