import io
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image

from debriscount.errors import PhotoFileError
from debriscount.photo.jpeg_shift import block_size, check_shift

ROOT = Path(__file__).parents[2]


def floor(height: int = 320, width: int = 480) -> NDArray[np.float64]:
    y, x = np.mgrid[:height, :width]
    smooth = np.stack([120 + 20 * np.sin(x / 50), 110 + 20 * np.cos(y / 40), 100 + 0 * x], axis=2)
    return smooth + np.random.default_rng(2).normal(0, 2, smooth.shape)


def pixels(values: NDArray[np.float64]) -> NDArray[np.uint8]:
    return np.clip(values, 0, 255).astype(np.uint8)


def shifted(values: NDArray[np.float64], row: int, column: int, by: Any, side: int = 16) -> NDArray[np.float64]:
    """From block (row, column) on, in order of coding, as a wrong difference of means leaves it."""
    result = values.copy()
    result[row * side : (row + 1) * side, column * side :] += by
    result[(row + 1) * side :] += by
    return result


@pytest.mark.parametrize("by", [12.0, -25.0, (0.0, -6.0, 30.0)])
@pytest.mark.parametrize(("row", "column"), [(3, 12), (10, 20), (9, 1), (9, 3), (9, 28)])
def test_a_shift_in_mid_row_is_refused(by: Any, row: int, column: int) -> None:
    check_shift(pixels(floor()), (16, 16))
    with pytest.raises(PhotoFileError, match=r"from row (\d+), column (\d+) on .* as after one wrong bit") as raised:
        check_shift(pixels(shifted(floor(), row, column, by)), (16, 16))
    told = [int(word.strip(",")) for word in str(raised.value).split() if word.strip(",").isdecimal()]
    np.testing.assert_allclose(told, [row * 16, column * 16], atol=32)


def test_a_shift_of_grey_is_refused() -> None:
    with pytest.raises(PhotoFileError, match="one wrong bit"):
        check_shift(pixels(shifted(floor(), 9, 20, 15.0, 8)[..., 0]), (8, 8))


def test_a_step_of_coarse_rounding_is_none() -> None:
    check_shift(pixels(shifted(floor(), 10, 20, 12.0)), (16, 16), (12.0, 12.0))


@pytest.mark.parametrize("row", [128, 130])
def test_an_edge_in_the_scene_is_none(row: int) -> None:
    """A level edge spans the photo; even on the border of blocks it does not jump by a row."""
    wall = floor()
    wall[row:] += 40
    check_shift(pixels(wall), (16, 16))
    check_shift(np.full((64, 480, 3), 90, np.uint8), (16, 16))
    check_shift(np.full((64, 64, 3), 90, np.uint8), (16, 16))


@pytest.mark.parametrize("ends", [0, 1, 3])
def test_an_edge_that_is_hidden_at_its_ends_is_none(ends: int) -> None:
    """Chance puts the beginning of what is as long as a row anywhere within the ends."""
    for seed in range(30):
        wall = floor() + np.random.default_rng(seed).normal(0, 2, (320, 480, 3))
        wall[160:, 16 * ends : 480 - 16 * ends] += 40
        check_shift(pixels(wall), (16, 16))


@pytest.mark.parametrize("part", [np.s_[:, :400], np.s_[:, 112:]])
def test_an_edge_that_ends_at_a_wall_is_none(part: tuple[slice, slice]) -> None:
    parquet = floor()
    parquet[160:][part] += 20
    check_shift(pixels(parquet), (16, 16))


def test_blocks_are_as_large_as_the_file_says() -> None:
    for subsampling, size in ((0, (8, 8)), (1, (8, 16)), (2, (16, 16))):
        file = io.BytesIO()
        Image.new("RGB", (64, 64)).save(file, "JPEG", subsampling=subsampling)
        with Image.open(file) as image:
            assert block_size(image.layer) == size  # type: ignore[attr-defined]
    assert block_size([(1, 2, 2, 0)]) == (8, 8)


def test_no_shipped_photo_is_taken_for_damaged() -> None:
    photos = sorted((ROOT / "reference_images").glob("*/*.jpg"))
    assert photos
    for photo in photos:
        with Image.open(photo) as image:
            check_shift(np.asarray(image), block_size(image.layer))  # type: ignore[attr-defined]
