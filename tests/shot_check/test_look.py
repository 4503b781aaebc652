import numpy as np
import pytest

from debriscount.camera.view import FloorToPhoto
from debriscount.inputs.patch import Marker, Patch
from debriscount.photo.colour import srgb_pixels
from debriscount.photo.read import Photo, photo_from_array
from debriscount.shot_check.look import cell_mm, look_at, noise_covariance

PATCH = Patch("bench", 400.0, 300.0, (), (Marker(0, (-60.0, 20.0), 40.0),), 30.0, 60.0, 20.0)


def flat_photo(light: tuple[float, float, float], noise: float = 0.0) -> Photo:
    pixels = np.broadcast_to(np.array(light), (640, 840, 3)) + noise * np.random.default_rng(2).standard_normal(
        (640, 840, 3)
    )
    return photo_from_array(srgb_pixels(pixels.astype(np.float32)), "flat.jpg")


@pytest.fixture
def view(straight: FloorToPhoto) -> FloorToPhoto:
    return straight


def test_cells_show_the_light_that_is_there(view: FloorToPhoto) -> None:
    look = look_at(flat_photo((0.3, 0.2, 0.1)), view, PATCH, 20.0)
    assert look.inside.all()
    assert look.shown == 1
    assert look.floor == pytest.approx([0.3, 0.2, 0.1], abs=0.003)
    assert look.clipped.max() == 0


def test_a_burnt_out_corner_is_seen_in_its_cells(view: FloorToPhoto) -> None:
    photo = flat_photo((0.3, 0.3, 0.3))
    pixels = photo.pixels.copy()
    pixels[:170, :220] = 255  # the patch begins at column 20, row 20, two pixels a millimetre
    look = look_at(photo_from_array(pixels, "burnt.jpg"), view, PATCH, 25.0)
    assert look.clipped[0, 0] == 1
    assert look.clipped[-1, -1] == 0
    assert look.clipped.mean() == pytest.approx(100 * 75 / (400 * 300), abs=0.01)


def test_cells_beyond_the_picture_are_not_inside(view: FloorToPhoto) -> None:
    photo = flat_photo((0.3, 0.3, 0.3))
    cut = photo_from_array(photo.pixels[:, :420], "cut.jpg")
    look = look_at(cut, view, PATCH, 25.0)
    assert look.shown == pytest.approx(0.5, abs=0.01)
    assert not look.inside[:, -1].any()


@pytest.mark.parametrize("noise", [0.004, 0.02])
def test_noise_is_what_was_added(view: FloorToPhoto, noise: float) -> None:
    look = look_at(flat_photo((0.4, 0.4, 0.4), noise), view, PATCH, 20.0)
    assert look.noise is not None
    assert np.sqrt(np.diag(look.noise)) == pytest.approx([noise] * 3, rel=0.15)


def test_noise_of_tiles_knows_slopes_and_rims_for_what_they_are() -> None:
    rng = np.random.default_rng(3)
    y, x = np.mgrid[:64, :64] / 64
    tiles = (0.3 + 0.1 * x + 0.05 * y**2)[None, ..., None] + 0.01 * rng.standard_normal((5, 64, 64, 3))
    tiles[:, 20:30, 20:30] = 0.9  # a grain
    assert np.sqrt(noise_covariance(tiles)[:, 0, 0]) == pytest.approx([0.01] * 5, rel=0.15)


def test_texture_stays_along_the_colour_of_the_floor() -> None:
    rng = np.random.default_rng(4)
    colour = np.array([0.5, 0.3, 0.2])
    tiles = colour * (1 + 0.05 * rng.standard_normal((1, 64, 64, 1)))
    covariance = noise_covariance(tiles)[0]
    strongest = np.linalg.eigh(covariance)[1][:, -1]
    assert abs(strongest @ colour) / np.linalg.norm(colour) == pytest.approx(1, abs=1e-6)


def test_cells_hold_several_grains() -> None:
    assert cell_mm(PATCH, 0.5) == pytest.approx(400 / 48)
    assert cell_mm(PATCH, 10.0) == 30.0
