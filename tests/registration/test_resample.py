import numpy as np
import pytest
from numpy.typing import NDArray

from debriscount.camera.lens import Lens
from debriscount.camera.view import FloorToPhoto
from debriscount.registration.grid import FloorGrid
from debriscount.registration.resample import Shift, light_near, look_up, photo_view, resample, shift_basis

#: Averages are rounded to one of so many levels.
LEVEL = 1 / 65535


def straight(mm_per_px: float = 1.0, column: float = 0.0, row: float = 0.0, k1: float = 0.0) -> FloorToPhoto:
    """Floor place (0, 0) appears at the given column and row."""
    homography = np.array([[1 / mm_per_px, 0, column], [0, 1 / mm_per_px, row], [0, 0, 1.0]])
    return FloorToPhoto(homography, Lens((60.0, 40.0), (90.0, 90.0), (k1, 0.0, 0.0)))


def speckled(height: int = 80, width: int = 120) -> NDArray[np.uint8]:
    return np.random.default_rng(5).integers(0, 256, (height, width, 3), dtype=np.uint8)


def decoded(pixels: NDArray[np.uint8]) -> NDArray[np.float64]:
    v = pixels / 255
    return np.where(v <= 0.04045, v / 12.92, ((v + 0.055) / 1.055) ** 2.4)


def ramp() -> NDArray[np.uint8]:
    """Level 2 column in red, 2 row in green."""
    row, column = np.mgrid[0:80, 0:120]
    return np.stack([2 * column, 2 * row, np.zeros_like(row)], axis=-1).astype(np.uint8)


def constant(x_mm: float, y_mm: float) -> Shift:
    coefficients = np.zeros((2, 3))
    coefficients[:, 0] = x_mm, y_mm
    return Shift(coefficients, (50.0, 30.0), 60.0)


def test_a_photo_on_its_own_raster_comes_back_as_it_is() -> None:
    pixels = speckled()
    view, seen = resample(pixels, straight(), FloorGrid(0, 0, 1, 80, 120))
    np.testing.assert_allclose(view, decoded(pixels), atol=1e-6)
    assert view.dtype == np.float32
    assert seen.all()


def test_the_floor_view_starts_where_the_grid_says() -> None:
    pixels = speckled()
    view, seen = resample(pixels, straight(column=-10, row=5), FloorGrid(30, 8, 1, 20, 50))
    # Floor place (30, 8) is column 20, row 13.
    np.testing.assert_allclose(view, decoded(pixels)[13:33, 20:70], atol=1e-6)
    assert seen.all()


def test_what_the_photo_does_not_show_is_not_seen() -> None:
    view, seen = resample(speckled(), straight(), FloorGrid(-4, 70, 1, 20, 130))
    expected = np.zeros((20, 130), bool)
    expected[:10, 4:124] = True
    np.testing.assert_array_equal(seen, expected)
    assert np.isfinite(view).all()


def test_half_pixels_are_interpolated_in_linear_light() -> None:
    pixels = np.zeros((80, 120, 3), np.uint8)
    pixels[:, 60:] = 255
    view, _ = resample(pixels, straight(), FloorGrid(0.5, 0.5, 1, 70, 100))
    # Half way between black and white is half the light, not level 128 (0.216).
    np.testing.assert_allclose(view[10:60, 59], 0.5, atol=1e-6)


def test_a_shift_is_added_to_the_place_that_is_looked_up() -> None:
    pixels = speckled()
    grid = FloorGrid(10, 10, 1, 40, 60)
    view, _ = resample(pixels, straight(), grid, constant(3, -2))
    np.testing.assert_allclose(view, decoded(pixels)[8:48, 13:73], atol=1e-6)


def test_lens_and_perspective_are_followed_to_a_small_part_of_a_pixel() -> None:
    """Levels rise along columns and rows, so a resampled value tells where it was looked up."""
    homography = np.array([[0.8, 0.05, 10.0], [-0.03, 0.85, 8.0], [4e-4, 6e-4, 1.0]])
    camera = FloorToPhoto(homography, Lens((60.0, 40.0), (90.0, 90.0), (0.05, 0.0, 0.0)))
    grid = FloorGrid(0, 0, 0.7, 60, 110)
    view, seen = resample(ramp(), camera, grid)
    where = camera.project(np.stack(np.meshgrid(grid.x_mm(), grid.y_mm()), axis=-1))
    inner = seen & (where[..., 0] > 45) & (where[..., 0] < 110) & (where[..., 1] > 35) & (where[..., 1] < 70)
    assert inner.sum() > 300
    for channel in range(2):
        level = 255 * (1.055 * view[inner, channel] ** (1 / 2.4) - 0.055)
        off = level / 2 - where[inner, channel]
        # OpenCV's cubic kernel (a = -0.75) bends a ramp by up to 0.04 px and rounds places to 1/32 px.
        assert np.abs(off).max() < 0.07
        assert abs(off.mean()) < 0.005


def test_the_monomials_are_those_of_the_degree() -> None:
    # By hand: place (110, 0) is u = (1, -0.5): 1, v, u, v², uv, u², v³, uv², u²v, u³.
    shift = Shift(np.zeros((2, 10)), (50.0, 30.0), 60.0)
    basis = shift_basis(shift, np.array([110.0, 0.0]))
    np.testing.assert_allclose(basis, [1, -0.5, 1, 0.25, -0.5, 1, -0.125, 0.25, -0.5, 1])


def test_a_shift_at_a_place_is_its_polynomial() -> None:
    coefficients = np.zeros((2, 3))
    coefficients[0] = 0.1, 0.0, 0.2
    coefficients[1] = 0.0, -0.4, 0.0
    shift = Shift(coefficients, (50.0, 30.0), 60.0)
    # By hand: at (80, 60) u = (0.5, 0.5): x 0.1 + 0.2 * 0.5, y -0.4 * 0.5.
    np.testing.assert_allclose(shift.at(np.array([[80.0, 60.0], [50.0, 30.0]])), [[0.2, -0.2], [0.1, 0.0]])


@pytest.mark.parametrize(("height", "width"), [(64, 96), (63, 95), (1, 9), (65, 97)])
def test_any_size_of_floor_view_can_be_asked_for(height: int, width: int) -> None:
    pixels = speckled()
    view, seen = resample(pixels, straight(), FloorGrid(0, 0, 1, height, width))
    np.testing.assert_allclose(view, decoded(pixels)[:height, :width], atol=1e-6)
    assert seen.shape == (height, width)


def test_a_grid_that_the_photo_does_not_show_at_all_is_not_seen() -> None:
    _, seen = resample(speckled(), straight(), FloorGrid(500, 500, 1, 20, 20))
    assert not seen.any()


def test_luminance_alone_is_that_of_the_floor_view() -> None:
    homography = np.array([[0.8, 0.05, 10.0], [-0.03, 0.85, 8.0], [4e-4, 6e-4, 1.0]])
    camera = FloorToPhoto(homography, Lens((60.0, 40.0), (90.0, 90.0), (0.05, 0.0, 0.0)))
    grid, shift = FloorGrid(0, 0, 0.7, 60, 110), constant(3, -2)
    view, seen = resample(speckled(), camera, grid, shift)
    light, same = look_up(light_near(speckled(), camera, grid).luminance(), camera, grid, shift)
    # IEC 61966-2-1: Y = 0.2126 R + 0.7152 G + 0.0722 B of linear light.
    np.testing.assert_allclose(light, view @ np.array([0.2126, 0.7152, 0.0722]), atol=1e-5)
    np.testing.assert_array_equal(same, seen)


@pytest.mark.parametrize("finer", [2, 3, 5])
def test_a_photo_finer_than_the_view_is_averaged(finer: int) -> None:
    pixels = speckled(120, 180)
    rows, columns = pixels.shape[0] // finer, pixels.shape[1] // finer
    grid = FloorGrid((finer - 1) / 2, (finer - 1) / 2, finer, rows, columns)
    view, seen = resample(pixels, straight(), grid)
    blocks = decoded(pixels)[: rows * finer, : columns * finer].reshape(rows, finer, columns, finer, 3)
    inner = np.s_[2 : rows - 2, 2 : columns - 2]
    assert seen[inner].all()
    np.testing.assert_allclose(view[inner], blocks.mean(axis=(1, 3))[inner], atol=LEVEL)


def test_light_is_averaged_and_not_encoded_values() -> None:
    stripes = np.zeros((40, 40, 3), np.uint8)
    stripes[::2] = 255
    view, _ = resample(stripes, straight(), FloorGrid(0.5, 0.5, 2, 20, 20))
    # Half of the light of white; encoded values would give that of grey 128, 0.216.
    np.testing.assert_allclose(view[2:-2, 2:-2], 0.5, atol=LEVEL)


@pytest.mark.parametrize("finer", [1.3, 1.7, 2.4, 3.3])
def test_a_spot_keeps_its_light_and_place_in_a_coarser_view(finer: float) -> None:
    spot = np.zeros((120, 160, 3), np.uint8)
    spot[50:56, 70:78] = 255
    grid = FloorGrid(0, 0, finer, int(119 / finer), int(159 / finer))
    light = resample(spot, straight(), grid)[0][..., 0]
    assert light.sum() * finer**2 == pytest.approx(48, rel=0.02)
    rows, columns = np.indices(light.shape)
    # OpenCV looks pixels up in steps of 1/32; rows and columns of unequal width add as much.
    assert (rows * light).sum() / light.sum() * finer == pytest.approx(52.5, abs=finer / 16)
    assert (columns * light).sum() / light.sum() * finer == pytest.approx(73.5, abs=finer / 16)


def test_a_view_for_the_eye_is_the_photos_own_pixels_where_it_is_as_fine() -> None:
    pixels = speckled()
    seen = photo_view(pixels, straight(), FloorGrid(0, 0, 1, 80, 120), constant(3, 2))
    assert seen.dtype == np.uint8
    np.testing.assert_array_equal(seen[:70, :110], pixels[2:72, 3:113])
