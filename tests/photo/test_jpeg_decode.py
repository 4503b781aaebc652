"""Damage inside JPEG data, which libjpeg only warns of: Pillow hands such pictures on without a word."""

import io
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

from debriscount.errors import PhotoFileError
from debriscount.photo.read import Photo, read_photo


def noisy(height: int = 256, width: int = 384) -> Image.Image:
    y, x = np.mgrid[:height, :width]
    smooth = 120 + 40 * np.sin(x / 40)[..., None] * np.cos(y / 30)[..., None]
    noise = np.random.default_rng(1).normal(0, 6, (height, width, 3))
    return Image.fromarray(np.clip(smooth + noise, 0, 255).astype(np.uint8))


def jpeg(image: Image.Image, **options: Any) -> bytes:
    file = io.BytesIO()
    image.save(file, "JPEG", **{"quality": 85, **options})
    return file.getvalue()


def read(folder: Path, content: bytes) -> Photo:
    (folder / "a.jpg").write_bytes(content)
    return read_photo(folder / "a.jpg")


@pytest.mark.parametrize("options", [{}, {"subsampling": 0}, {"progressive": True}, {"restart_marker_rows": 1}])
@pytest.mark.parametrize("mode", ["RGB", "L"])
def test_pixels_are_those_of_libjpeg(tmp_path: Path, options: dict[str, Any], mode: str) -> None:
    content = jpeg(noisy().convert(mode), **options)
    with Image.open(io.BytesIO(content)) as image:  # independent: Pillow decodes with libjpeg-turbo
        np.testing.assert_array_equal(read(tmp_path, content).pixels, np.asarray(image.convert("RGB")))


def _zeros(content: bytes) -> bytes:
    middle = len(content) // 2
    return content[:middle] + bytes(64) + content[middle + 64 :]


def _cut_with_end(content: bytes) -> bytes:
    return content[: len(content) // 2] + b"\xff\xd9"


def _lost(content: bytes) -> bytes:
    middle = len(content) // 2
    return content[:middle] + content[middle + 40 :]


@pytest.mark.parametrize("damage", [_zeros, _cut_with_end, _lost])
@pytest.mark.parametrize("options", [{}, {"restart_marker_rows": 1}])
@pytest.mark.parametrize("mode", ["RGB", "L", "CMYK"])
def test_damaged_data_are_refused(
    tmp_path: Path, damage: Callable[[bytes], bytes], options: dict[str, Any], mode: str
) -> None:
    whole = jpeg(noisy().convert(mode), **options)
    assert read(tmp_path, whole).pixels.shape == (256, 384, 3)
    with pytest.raises(PhotoFileError, match=r"a\.jpg: is damaged or cut off \(.*\)\. Copy it from the camera"):
        read(tmp_path, damage(whole))


def test_zeros_for_filling_before_the_end_are_no_damage(tmp_path: Path) -> None:
    whole = jpeg(noisy())
    filled = whole[:-2] + bytes(6) + whole[-2:]
    np.testing.assert_array_equal(read(tmp_path, filled).pixels, read(tmp_path, whole).pixels)
    with pytest.raises(PhotoFileError, match="extraneous bytes"):
        read(tmp_path, whole[:-2] + b"\x01\x02\x03\x04\x05\x06" + whole[-2:])


def test_a_strange_version_of_the_header_is_no_damage(tmp_path: Path) -> None:
    """libjpeg warns of every version of JFIF but the first."""
    whole = jpeg(noisy())
    assert whole[6:13] == b"JFIF\0\x01\x01"
    strange = whole[:11] + b"\x07" + whole[12:]
    np.testing.assert_array_equal(read(tmp_path, strange).pixels, read(tmp_path, whole).pixels)


def test_a_small_file_that_declares_a_large_photo_is_refused(tmp_path: Path) -> None:
    content = bytearray(jpeg(Image.new("RGB", (640, 480))))
    at = re.search(rb"\xff\xc0", content)
    assert at is not None
    content[at.end() + 3 : at.end() + 7] = (9000).to_bytes(2, "big") * 2
    with pytest.raises(PhotoFileError, match=r"has 9000 x 9000 px in \d+ bytes, too few for a photo\. Copy it"):
        read(tmp_path, bytes(content))
