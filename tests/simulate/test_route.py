import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from matplotlib.path import Path as Outline

from debriscount.inputs.patch import Patch
from debriscount.layout.lay_patch import lay_patch
from debriscount.simulate.route import Route, draw_route
from debriscount.simulate.spec import PATHS, Cleaning

STEP = 0.5
X, Y = np.meshgrid(np.arange(STEP / 2, 300, STEP), np.arange(STEP / 2, 200, STEP))
FLOOR = np.stack([X, Y], axis=-1)


def route_of(patch: Patch, cleaning: Cleaning, seed: int = 0) -> Route:
    return draw_route(patch, cleaning, np.random.default_rng(seed))


def test_everywhere_is_everywhere() -> None:
    assert route_of(lay_patch(300, 200, ("top",)), Cleaning(path="everywhere")).reaches(FLOOR).all()


@pytest.mark.parametrize(
    ("walls", "left_mm2"),
    # Rectangles by hand: strips of 12 mm along the walls, counted once where two meet.
    [((), 0), (("top",), 12 * 300), (("right",), 12 * 200), (("top", "left"), 12 * 300 + 12 * 200 - 144)],
)
def test_a_gap_stays_along_every_wall(walls: tuple[str, ...], left_mm2: float) -> None:
    missed = ~route_of(lay_patch(300, 200, walls), Cleaning(path="everywhere", wall_gap_mm=12)).reaches(FLOOR)
    assert missed.sum() * STEP**2 == pytest.approx(left_mm2)


def test_the_gap_lies_at_the_wall_that_was_named() -> None:
    reached = route_of(lay_patch(300, 200, ("bottom",)), Cleaning(path="everywhere", wall_gap_mm=12)).reaches(FLOOR)
    assert np.array_equal(reached, Y <= 188)


@pytest.mark.parametrize(
    ("walls", "corners"),
    [((), 0), (("top", "bottom"), 0), (("left", "bottom"), 1), (("left", "bottom", "right"), 2)],
)
def test_a_quarter_disc_stays_in_every_corner(walls: tuple[str, ...], corners: int) -> None:
    missed = ~route_of(lay_patch(300, 200, walls), Cleaning(path="everywhere", corner_radius_mm=40)).reaches(FLOOR)
    # Area of quarter circles; the picture of them errs by less than a tenth of a pixel along their rims.
    assert missed.sum() * STEP**2 == pytest.approx(corners * np.pi * 40**2 / 4, abs=0.1 * STEP * 63 * corners)
    if walls == ("left", "bottom"):
        assert np.hypot(X, 200 - Y)[missed].max() < 40


@settings(max_examples=40)
@given(corners=st.lists(st.tuples(st.floats(-50, 350), st.floats(-50, 250)), min_size=3, max_size=3))
def test_named_places_are_missed(corners: list[tuple[float, float]]) -> None:
    (ax, ay), (bx, by), (cx, cy) = corners
    assume(abs((bx - ax) * (cy - ay) - (cx - ax) * (by - ay)) >= 2)  # `check_spec` refuses less than 1 mm²
    reached = route_of(lay_patch(300, 200), Cleaning(path="everywhere", missed_mm=(tuple(corners),))).reaches(FLOOR)
    # Independent: matplotlib's points in polygons, of a triangle a hair smaller and larger, as borders belong to no side.
    outline = np.array(corners)
    centre = outline.mean(axis=0)
    smaller, larger = (Outline(centre + (outline - centre) * scale) for scale in (1 - 1e-6, 1 + 1e-6))
    flat, missed = FLOOR.reshape(-1, 2), ~reached.ravel()
    assert not (smaller.contains_points(flat) & ~missed).any()
    assert not (missed & ~larger.contains_points(flat)).any()


def test_named_places_may_have_notches_and_be_many() -> None:
    # An L of 60 x 60 less 40 x 40, and a square of 10, by hand.
    bent = ((100.0, 50.0), (160.0, 50.0), (160.0, 70.0), (120.0, 70.0), (120.0, 110.0), (100.0, 110.0))
    square = ((200.0, 150.0), (210.0, 150.0), (210.0, 160.0), (200.0, 160.0))
    missed = ~route_of(lay_patch(300, 200), Cleaning(path="everywhere", missed_mm=(bent, square))).reaches(FLOOR)
    assert missed.sum() * STEP**2 == pytest.approx(2000 + 100)


@pytest.mark.parametrize("path", PATHS)
def test_what_is_out_of_reach_is_taken_off_every_path(path: str) -> None:
    patch = lay_patch(300, 200, ("top", "left"))
    square = ((100.0, 100.0), (150.0, 100.0), (150.0, 150.0), (100.0, 150.0))
    plain, less = (
        route_of(patch, cleaning, 4).reaches(FLOOR)
        for cleaning in (
            Cleaning(path=path),
            Cleaning(path=path, wall_gap_mm=10, corner_radius_mm=50, missed_mm=(square,)),
        )
    )
    out = (X < 10) | (Y < 10) | (np.hypot(X, Y) < 50) | ((X > 100) & (X < 150) & (Y > 100) & (Y < 150))
    assert np.array_equal(less, plain & ~out)


@pytest.mark.parametrize("path", PATHS)
def test_places_are_told_one_by_one_in_any_shape(path: str) -> None:
    route = route_of(lay_patch(300, 200), Cleaning(path=path, width_mm=60, pitch_mm=66))
    whole = route.reaches(FLOOR)
    assert whole.shape == FLOOR.shape[:2]
    some = np.random.default_rng(1).integers(0, whole.size, 50)
    assert np.array_equal(route.reaches(FLOOR.reshape(-1, 2)[some]), whole.ravel()[some])
    assert bool(route.reaches(FLOOR[3, 7])) == whole[3, 7]
