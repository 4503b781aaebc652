import io
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image, ImageOps

from debriscount.errors import PhotoFileError
from debriscount.photo.read import read_photo
from debriscount.photo.stored import filled_warning, upright


def picture(height: int = 90, width: int = 120) -> NDArray[np.uint8]:
    return np.random.default_rng(3).integers(1, 255, (height, width, 3), dtype=np.uint8)


@pytest.mark.parametrize("orientation", range(1, 9))
def test_turned_as_pillow_turns(orientation: int) -> None:
    """Independent: Pillow's own `exif_transpose`."""
    image = Image.fromarray(picture())
    image.getexif()[0x0112] = orientation
    turned = ImageOps.exif_transpose(image)
    np.testing.assert_array_equal(upright(picture(), orientation), np.asarray(turned))


@pytest.mark.parametrize(("rows", "value", "told"), [(8, 128, True), (40, 77, True), (7, 128, False), (40, 0, False)])
def test_rows_of_one_grey_at_the_foot_are_told(rows: int, value: int, told: bool) -> None:
    pixels = picture()
    pixels[-rows:] = value
    assert (f"last {rows} rows are all one grey" in filled_warning(pixels)) == told


def test_a_colour_or_a_picture_of_one_grey_is_not_filling() -> None:
    pixels = picture()
    pixels[-20:] = (90, 90, 91)
    assert filled_warning(pixels) == ""
    assert filled_warning(np.full((80, 80, 3), 128, np.uint8)) == ""


def test_a_photo_cut_off_and_filled_is_read_with_a_warning(tmp_path: Path) -> None:
    pixels = picture()
    pixels[-16:] = 128
    Image.fromarray(pixels).save(tmp_path / "a.png")
    assert "all one grey" in read_photo(tmp_path / "a.png").warnings[0]


def test_signed_values_below_0_are_refused(tmp_path: Path) -> None:
    """Pillow takes the bits of -10 for 246."""
    tifffile = pytest.importorskip("tifffile")
    for least in (0, -10):
        file = io.BytesIO()
        tifffile.imwrite(file, np.linspace(least, 100, 6400).reshape(80, 80).astype(np.int8))
        (tmp_path / "a.tif").write_bytes(file.getvalue())
        if least == 0:
            assert read_photo(tmp_path / "a.tif").pixels[-1, -1].tolist() == [100] * 3
        else:
            with pytest.raises(PhotoFileError, match=r"has values below 0, as no photo has"):
                read_photo(tmp_path / "a.tif")
