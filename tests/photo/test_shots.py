from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from debriscount.photo.colour import grey_pixels, is_grey, linear_pixels, luminance
from debriscount.photo.read import Photo, photo_from_array
from debriscount.photo.settings import CameraSettings
from debriscount.photo.shots import side_by_side

COLOUR = np.random.default_rng(2).integers(0, 256, (70, 90, 3), dtype=np.uint8)
GREY = np.repeat(COLOUR[..., :1], 3, axis=2)


def photos(**pixels: NDArray[np.uint8]) -> dict[str, Photo]:
    return {name: photo_from_array(a, name) for name, a in pixels.items()}


def test_colour_photos_stay_as_they_are() -> None:
    given = photos(before=COLOUR, after=COLOUR[::-1])
    got, told = side_by_side(given)
    assert got == given
    assert told == ()


def test_warnings_of_photos_and_of_the_run_are_told() -> None:
    given = photos(before=COLOUR, after=COLOUR)
    given["before"] = replace(given["before"], warnings=("it is odd",), settings=CameraSettings(iso=100.0))
    given["after"] = replace(given["after"], settings=CameraSettings(iso=200.0))
    assert side_by_side(given)[1] == (
        "before: it is odd",
        "sensitivity differs between the shots (before ISO 100, after ISO 200); fix the exposure for all shots of a run",
    )


def test_one_grey_photo_makes_all_grey() -> None:
    got, told = side_by_side(photos(blank=COLOUR, before=GREY, after=COLOUR))
    assert all(photo.grey and is_grey(photo.pixels) for photo in got.values())
    np.testing.assert_array_equal(got["before"].pixels, GREY)
    np.testing.assert_array_equal(got["blank"].pixels, grey_pixels(COLOUR))
    assert told == (
        "before: shows no colour, so that all shots are measured by lightness alone, and debris as light as the "
        "floor is not seen; take all photos in colour",
    )


def test_grey_keeps_the_luminance() -> None:
    # IEC 61966-2-1 weighs linear light; half a level of eight bits is lost at most.
    grey = grey_pixels(COLOUR)
    assert is_grey(grey)
    steps = linear_pixels(np.minimum(grey, 254) + np.uint8(1)) - linear_pixels(np.minimum(grey, 254))
    off = np.abs(linear_pixels(grey)[..., 0] - luminance(linear_pixels(COLOUR)))
    assert (off <= 0.51 * steps[..., 0] + 1e-6).all()
    np.testing.assert_array_equal(grey_pixels(GREY), GREY)


@pytest.mark.parametrize("place", [(0, 0), (3, 5), (69, 89), (16, 32)])
@pytest.mark.parametrize("channel", [0, 1, 2])
def test_one_coloured_pixel_is_colour(place: tuple[int, int], channel: int) -> None:
    spotted: Any = GREY.copy()
    assert is_grey(spotted)
    spotted[*place, channel] ^= 1
    assert not is_grey(spotted)
