"""Damage inside HEIF data, which libheif hands on without a word; x265 makes the files, libde265 hears."""

import io
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pillow_heif
import pytest
from PIL import Image

from debriscount.errors import PhotoFileError
from debriscount.photo import heif_heard
from debriscount.photo.heif_heard import check_all_read, check_heif
from debriscount.photo.heif_items import coded_pictures
from debriscount.photo.read import read_photo

#: Windows looks for a library's names in that library alone.
reached = pytest.mark.skipif(sys.platform == "win32", reason="the decoder within pi-heif cannot be reached there")
#: Rows of blocks that end by themselves, as the encoder does it, and as phones do.
ROWS: dict[str, Any] = {}
NO_ROWS: dict[str, Any] = {"enc_params": {"x265:wpp": "0"}}


def heic(**options: Any) -> bytes:
    noise = np.random.default_rng(1).integers(0, 256, (36, 52, 3), dtype=np.uint8)
    file = io.BytesIO()
    smooth = Image.fromarray(noise).resize((416, 288), Image.Resampling.BICUBIC)
    pillow_heif.from_pillow(smooth).save(file, quality=70, **options)
    return file.getvalue()


@reached
@pytest.mark.parametrize("options", [ROWS, NO_ROWS, {"tile_size": 128}, {"tile_size": 128, **NO_ROWS}])
def test_damaged_data_are_refused(tmp_path: Path, options: dict[str, Any]) -> None:
    content = heic(**options)
    path = tmp_path / "a.heic"
    path.write_bytes(content)
    assert read_photo(path).pixels.shape == (288, 416, 3)
    heard, rng = 0, np.random.default_rng(2)
    for number in range(20):
        spoilt = bytearray(content)
        at = int(rng.integers(3 * len(content) // 10, 9 * len(content) // 10))
        if number % 2:
            spoilt[at] ^= 1 << int(rng.integers(8))
        else:
            spoilt[at : at + 64] = bytes(64)
        path.write_bytes(spoilt)
        try:
            read_photo(path)
        except PhotoFileError as error:
            assert "Copy it from the camera once more." in str(error)
            heard += 1
    assert heard >= 18


def test_what_was_left_at_zero_is_refused() -> None:
    pixels = np.full((64, 96, 3), 90, np.uint8)
    check_all_read(pixels)
    pixels[32:, 48:] = (0, 136, 0)
    with pytest.raises(PhotoFileError, match=r"from row 32, column 48 on there are 16 x 16 px of one green"):
        check_all_read(pixels)
    pixels[32::7, 48::7] = (0, 137, 0)  # a green with the least noise is the camera's
    check_all_read(pixels)
    pixels[:] = 0
    check_all_read(pixels)


@pytest.mark.parametrize(("tile", "count"), [(0, 1), (128, 12)])
def test_pictures_are_those_of_the_primary_one(tile: int, count: int) -> None:
    pictures = coded_pictures(heic(**({"tile_size": tile} if tile else {})))
    assert len(pictures) == count
    # Kinds of units by H.265, table 7-1: parameter sets, and then a picture of its own.
    kinds = [[unit[0] >> 1 for unit in units] for units in pictures]
    assert all(found[:3] == [32, 33, 34] and found[-1] in (19, 20) for found in kinds)


@pytest.mark.parametrize("cut", [0, 8, 40, 200, 400, -1])
def test_a_file_built_otherwise_is_left_to_libheif(cut: int) -> None:
    check_heif(heic()[:cut])


def test_without_the_decoder_nothing_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(heif_heard, "_decoder", lambda: None)
    content = bytearray(heic())
    content[len(content) // 2 :] = bytes(len(content) - len(content) // 2)
    check_heif(bytes(content))
