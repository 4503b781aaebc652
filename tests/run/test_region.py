import re

import numpy as np
import pytest
from numpy.typing import NDArray

from debriscount.errors import CountOptionsError, PhotoFileError
from debriscount.photo.colour import linear_pixels
from debriscount.photo.read import Photo, photo_from_array
from debriscount.registration.resample import MOST_PIXELS
from debriscount.run.region import (
    checked_region,
    needed_averaging,
    parse_region,
    region_as_patch,
    region_views,
)


def photo(width: int, height: int, name: str = "floor.jpg") -> Photo:
    return photo_from_array(np.zeros((height, width, 3), np.uint8), name)


def test_a_region_is_read_as_people_write_it() -> None:
    assert parse_region("10,20,300,200") == (10, 20, 300, 200)
    assert parse_region(" 10, 20, 300, 200 ") == (10, 20, 300, 200)
    assert parse_region("-5,0,300,200") == (-5, 0, 300, 200)  # refused once the photo is known


@pytest.mark.parametrize("text", ["", "1,2,3", "1,2,3,4,5", "1,2,3,four", "1.5,2,3,4", "10x20", "1,2,3,", "1,2,3,1e9"])
def test_a_region_that_is_no_region_is_refused(text: str) -> None:
    message = (
        'region must be written "X,Y,W,H", left, top, width and height in whole pixels of the upright photo, '
        f'got "{text}".'
    )
    with pytest.raises(CountOptionsError, match=f"^{re.escape(message)}$"):
        parse_region(text)


def test_without_a_region_the_whole_photo_is_it() -> None:
    assert checked_region(photo(300, 200), None) == (0, 0, 300, 200)
    assert checked_region(photo(300, 200), (0, 0, 300, 200)) == (0, 0, 300, 200)


@pytest.mark.parametrize("region", [(-1, 0, 100, 100), (0, -1, 100, 100), (201, 0, 100, 100), (0, 101, 100, 100)])
def test_a_region_beyond_the_photo_is_refused(region: tuple[int, int, int, int]) -> None:
    written = ",".join(str(n) for n in region)
    with pytest.raises(
        CountOptionsError,
        match=rf"^region {written}: reaches beyond floor\.jpg, which is 300 x 200 pixels once upright\. "
        r"Give left, top, width and height within it\.$",
    ):
        checked_region(photo(300, 200), region)


@pytest.mark.parametrize("region", [(0, 0, 63, 100), (0, 0, 100, 0), (0, 0, -100, 100)])
def test_a_region_without_room_is_refused(region: tuple[int, int, int, int]) -> None:
    with pytest.raises(CountOptionsError, match=r"^region .*: must be at least 64 pixels wide and high\.$"):
        checked_region(photo(300, 200), region)


def test_pixels_are_averaged_only_where_nothing_is_lost() -> None:
    assert needed_averaging((0, 0, 1000, 1000)) == 1
    assert needed_averaging((0, 0, 1000, 1000), small_grain_px=20) == 1
    assert needed_averaging((0, 0, 1000, 1000), small_grain_px=30) == pytest.approx(1.5)
    # By hand: four times as many pixels as are allowed are two to a side.
    assert needed_averaging((0, 0, 4 * MOST_PIXELS // 1000, 1000)) == pytest.approx(2)
    assert needed_averaging((0, 0, 4 * MOST_PIXELS // 1000, 1000), small_grain_px=80) == pytest.approx(4)


def ramp(width: int, height: int) -> NDArray[np.uint8]:
    """Brightness in linear light that rises with the column, in whole sRGB steps."""
    return np.repeat(np.tile(np.arange(width, dtype=np.uint8), (height, 1))[..., None], 3, axis=2)


def test_the_view_is_the_regions_light() -> None:
    pixels = ramp(200, 100)
    seen = region_views({"photo": photo_from_array(pixels, "photo")}, (30, 10, 80, 70), 0.2, 1.0)
    np.testing.assert_array_equal(seen.views["photo"], linear_pixels(pixels[10:80, 30:110]))
    assert seen.grid.shape == (70, 80) == seen.usable.shape == seen.shown.shape
    assert seen.usable.all()
    assert seen.shown.all()
    # (0, 0) mm is the region's corner, so the first pixel's centre lies half a pixel from it.
    assert (seen.grid.x0_mm, seen.grid.y0_mm, seen.grid.mm_per_px) == (0.1, 0.1, 0.2)


@pytest.mark.parametrize("averaging", [2.0, 1.5, 3.7])
def test_averaging_keeps_every_place_where_it_is(averaging: float) -> None:
    """A bright square of known place and size, by its moments, whatever the factor."""
    pixels = np.zeros((301, 403, 3), np.uint8)
    pixels[90:150, 200:300] = 255
    seen = region_views({"photo": photo_from_array(pixels, "photo")}, (0, 0, 403, 301), 0.1, averaging)
    light, grid = seen.views["photo"][..., 0].astype(float), seen.grid
    assert light.sum() * grid.mm_per_px**2 == pytest.approx(10.0 * 6.0, rel=1e-3)
    assert (light.sum(axis=0) @ grid.x_mm()) / light.sum() == pytest.approx(25.0, abs=0.01)
    assert (light.sum(axis=1) @ grid.y_mm()) / light.sum() == pytest.approx(12.0, abs=0.01)


def test_photo_and_blank_must_be_of_one_size() -> None:
    photos = {"blank": photo(200, 100, "blank.jpg"), "photo": photo(300, 100, "left.jpg")}
    with pytest.raises(
        PhotoFileError,
        match=r"^blank\.jpg 200 x 100 and left\.jpg 300 x 100 pixels: without a patch, photo and blank must be taken "
        r"from the same place and be of one size\. Leave the blank out, or give a patch with markers\.$",
    ):
        region_views(photos, (0, 0, 200, 100), 0.1, 1.0)


def test_a_region_is_a_patch_whose_points_are_all_open() -> None:
    seen = region_views({"photo": photo(300, 200)}, (0, 0, 300, 200), 0.1, 1.7)
    patch = region_as_patch(seen.grid)
    assert patch.zone_names() == ("open",)
    assert (patch.zone_codes(*np.meshgrid(seen.grid.x_mm(), seen.grid.y_mm())) == 0).all()
