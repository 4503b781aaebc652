"""Photos saved again by Pillow, an encoder of its own, against photos of one thing that differ by their noise."""

import io
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image

from debriscount.photo.jpeg import jpeg_steps
from debriscount.photo.read import Photo
from debriscount.photo.saved_again import saved_again


def scene(noise_seed: int, gone: int = 0) -> NDArray[np.uint8]:
    """A rough floor with bright grains, of which the first ``gone`` are missing."""
    rng = np.random.default_rng(1)
    floor = 110 + 12 * rng.normal(size=(320, 400, 1)) + np.array([20, 0, -20])
    for k in range(60):
        y, x = rng.integers(10, 310), rng.integers(10, 390)
        if k >= gone:
            floor[y - 4 : y + 4, x - 4 : x + 4] = (230, 120, 60)
    noisy = floor + np.random.default_rng(noise_seed).normal(0, 2, floor.shape)
    return np.asarray(np.clip(noisy, 0, 255), np.uint8)


def as_jpeg(pixels: NDArray[np.uint8], quality: int, share: float = 1.0, **options: Any) -> Photo:
    image = Image.fromarray(pixels)
    if share != 1:
        image = image.resize((round(image.width * share), round(image.height * share)), Image.Resampling.LANCZOS)
    stream = io.BytesIO()
    image.save(stream, "JPEG", quality=quality, **options)
    with Image.open(io.BytesIO(stream.getvalue())) as read:
        return Photo(np.asarray(read.convert("RGB")), "x.jpg", jpeg_steps=jpeg_steps(read))


@pytest.mark.parametrize("quality", [95, 85, 60, 30])
@pytest.mark.parametrize("options", [{}, {"subsampling": 0}])
def test_a_photo_saved_again_is_known_in_either_order(quality: int, options: dict[str, Any]) -> None:
    original = as_jpeg(scene(2), 96)
    again = as_jpeg(np.asarray(original.pixels), quality, **options)
    assert saved_again(original, again)
    assert saved_again(again, original)


@pytest.mark.parametrize("quality", [96, 95, 85])
def test_two_photos_from_a_stand_of_which_nothing_went_are_two(quality: int) -> None:
    assert not saved_again(as_jpeg(scene(2), 96), as_jpeg(scene(3), quality))


@pytest.mark.parametrize("share", [0.8, 0.5])
def test_a_smaller_copy_is_known_and_a_smaller_photo_of_less_debris_is_not(share: float) -> None:
    original = as_jpeg(scene(2), 96)
    assert saved_again(original, as_jpeg(np.asarray(original.pixels), 85, share))
    assert not saved_again(original, as_jpeg(scene(2, gone=8), 85, share))


def test_a_copy_without_loss_is_known_and_another_shape_is_not() -> None:
    pixels = scene(2)
    assert saved_again(Photo(pixels, "a.png"), Photo(pixels.copy(), "b.png"))
    assert not saved_again(Photo(pixels, "a.png"), Photo(scene(4), "b.png"))
    assert not saved_again(Photo(pixels, "a.png"), Photo(pixels[:160], "b.png"))
