import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from debriscount.camera.lens import Lens
from debriscount.camera.view import FloorToPhoto
from debriscount.inputs.patch import Patch
from debriscount.registration.grid import FloorGrid
from debriscount.registration.resample import COARSEST_MM, MOST_PIXELS, ROOM_MM, floor_grid

GRID = FloorGrid(x0_mm=-9.75, y0_mm=0.25, mm_per_px=0.5, height_px=3, width_px=4)


def view_of(mm_per_px: float) -> FloorToPhoto:
    """A camera straight above that sees every pixel span the same length of floor."""
    scale = np.array([[1 / mm_per_px, 0, 40], [0, 1 / mm_per_px, 30], [0, 0, 1.0]])
    return FloorToPhoto(scale, Lens((500.0, 400.0), (800.0, 800.0)))


def patch_with(walls: tuple[str, ...], width_mm: float = 100.0, height_mm: float = 80.0) -> Patch:
    return Patch("bench", width_mm, height_mm, walls, (), 10.0, 20.0, 10.0)


def test_first_and_last_pixels_lie_where_the_grid_says() -> None:
    # By hand: -9.75 + 3 * 0.5 = -8.25 and 0.25 + 2 * 0.5 = 1.25.
    np.testing.assert_allclose(GRID.x_mm(), [-9.75, -9.25, -8.75, -8.25])
    np.testing.assert_allclose(GRID.y_mm(), [0.25, 0.75, 1.25])
    assert GRID.shape == (3, 4)


@given(st.floats(-1e3, 1e3), st.floats(-1e3, 1e3))
def test_a_place_and_its_pixel_are_one(x: float, y: float) -> None:
    column, row = GRID.to_px(np.array([[x, y]]))[0]
    assert GRID.x0_mm + GRID.mm_per_px * column == pytest.approx(x, abs=1e-9)
    assert GRID.y0_mm + GRID.mm_per_px * row == pytest.approx(y, abs=1e-9)


def test_the_raster_spans_patch_and_margin_but_not_the_wall() -> None:
    grid = floor_grid(patch_with(("top", "left")), (view_of(0.5),))
    # Patch of 100 x 80 mm, margin of 10 mm at right and bottom: 0 to 110 and 0 to 90 mm.
    assert grid.shape == (180, 220)
    assert (grid.x0_mm, grid.y0_mm) == (0.25, 0.25)
    free = floor_grid(patch_with(()), (view_of(0.5),))
    assert free.shape == (200, 240)
    assert (free.x0_mm, free.y0_mm) == (-9.75, -9.75)


def test_the_coarsest_photo_sets_the_step() -> None:
    grid = floor_grid(patch_with(()), (view_of(0.25), view_of(0.5), view_of(0.4)))
    assert grid.mm_per_px == pytest.approx(0.5)


def test_a_very_sharp_photo_of_a_large_patch_stays_within_memory() -> None:
    grid = floor_grid(patch_with((), 2000.0, 1500.0), (view_of(0.1),))
    pixels = grid.height_px * grid.width_px
    assert 0.99 * MOST_PIXELS < pixels <= MOST_PIXELS
    assert grid.width_px * grid.mm_per_px == pytest.approx(2020, abs=grid.mm_per_px)


@pytest.mark.parametrize(
    ("grain_mm", "step"),
    [
        (None, 0.1),  # unknown: the photo's own
        (2.5, 0.25),  # a tenth of a grain
        (0.6, 0.1),  # finer than the photo shows
        (12.0, COARSEST_MM),
    ],
)
def test_the_raster_is_no_finer_than_the_smallest_grains_ask_for(grain_mm: float | None, step: float) -> None:
    grid = floor_grid(patch_with(()), (view_of(0.1), view_of(0.08)), grain_mm=grain_mm)
    assert grid.mm_per_px == pytest.approx(step)


def test_a_shot_that_stands_alone_is_seen_twice_as_finely() -> None:
    assert floor_grid(patch_with(()), (view_of(0.1),), grain_mm=4.0).mm_per_px == pytest.approx(0.2)


def test_grains_are_never_a_reason_for_a_coarser_raster_than_the_photo() -> None:
    assert floor_grid(patch_with(()), (view_of(0.8),), grain_mm=5.0).mm_per_px == pytest.approx(0.8)


@pytest.mark.parametrize("columns", [8, 11, 40])
def test_the_same_floor_in_more_columns(columns: int) -> None:
    fine = GRID.in_columns(columns)
    assert fine.width_px == columns
    for near, far in ((GRID.x_mm(), fine.x_mm()), (GRID.y_mm(), fine.y_mm())):
        assert far[0] - fine.mm_per_px / 2 == pytest.approx(near[0] - GRID.mm_per_px / 2)
    assert fine.mm_per_px * columns == pytest.approx(GRID.mm_per_px * GRID.width_px)
    assert fine.mm_per_px * fine.height_px == pytest.approx(GRID.mm_per_px * GRID.height_px, abs=fine.mm_per_px / 2)


def test_a_room_may_have_a_pixel_a_millimetre() -> None:
    grid = floor_grid(patch_with((), 6000.0, 5000.0), (view_of(0.5),), grain_mm=4.0)
    assert grid.mm_per_px == ROOM_MM
    assert grid.width_px * grid.height_px > 30e6
