from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from PIL import Image, TiffImagePlugin

from debriscount.photo.exif import camera_settings, orientation
from debriscount.photo.read import read_photo
from debriscount.photo.settings import UNKNOWN_SETTINGS, CameraSettings

Picture = Callable[..., NDArray[np.uint8]]
Rational = TiffImagePlugin.IFDRational

# Published: CIPA DC-008 (EXIF 2.32), Tables 4, 5, 7 and 8: numbers of the tags and codes of their values.
USUAL = {
    0x829A: Rational(1, 60),  # exposure time
    0x829D: Rational(9, 5),  # F number
    0x8827: 125,  # ISO speed
    0x9003: "2026:05:01 10:30:00",  # date and time of the original
    0x9204: Rational(-1, 3),  # exposure bias
    0x9209: 0x10,  # flash: compulsory off
    0x920A: Rational(85, 20),  # focal length
    0xA403: 1,  # white balance: manual
    0xA405: 26,  # focal length in 35 mm film
}


def exif(tags: dict[int, Any]) -> Image.Exif:
    block = Image.Exif()
    block[0x0112] = 1  # without a tag of its own Pillow takes the block for empty
    block.get_ifd(0x8769).update(tags)
    return block


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP", "TIFF", "HEIF"])
def test_settings_are_read_from_every_kind_of_file(tmp_path: Path, picture: Picture, kind: str) -> None:
    import pillow_heif

    image, file = Image.fromarray(picture()), tmp_path / "a.jpg"
    if kind == "HEIF":
        pillow_heif.from_pillow(image).save(file, exif=exif(USUAL).tobytes())
    else:
        image.save(file, kind, exif=exif(USUAL).tobytes())
    assert read_photo(file).settings == CameraSettings(
        taken="2026-05-01T10:30:00",
        exposure_s=1 / 60,
        f_number=1.8,
        iso=125.0,
        focal_mm=4.25,
        focal_35mm=26.0,
        exposure_bias_ev=-1 / 3,
        white_balance="manual",
        flash=False,
    )


def test_a_photo_that_says_nothing_has_no_settings(tmp_path: Path, picture: Picture) -> None:
    Image.fromarray(picture()).save(tmp_path / "a.jpg")
    assert read_photo(tmp_path / "a.jpg").settings == UNKNOWN_SETTINGS == CameraSettings()


@pytest.mark.parametrize(
    "tags",
    [
        {0x829A: Rational(1, 0), 0x829D: Rational(0, 0), 0x920A: Rational(0, 1), 0x9204: Rational(5000, 1)},
        {0x829A: "fast", 0x829D: b"\xff", 0x8827: "", 0xA405: 0},
        {0x9003: "0000:00:00 00:00:00", 0x9209: 0xFFFF, 0xA403: 7, 0x8827: 0},
        {0x9003: "    :  :     :  :  ", 0x9209: "yes", 0xA403: "auto"},
        {0x9003: "2026:13:41 25:61:61"},
    ],
)
def test_nonsense_is_unknown(tags: dict[int, Any]) -> None:
    assert camera_settings(exif(tags)) == UNKNOWN_SETTINGS


def test_special_values_are_read_as_the_standard_means_them() -> None:
    assert camera_settings(exif({0x8827: (200, 400)})).iso == 200
    # The speed does not fit into 16 bits, and stands in one of the longer tags.
    assert camera_settings(exif({0x8827: 65535, 0x8832: 102400})).iso == 102400
    assert camera_settings(exif({0x8827: 65535})).iso is None
    assert camera_settings(exif({0x9209: 0x19})).flash is True
    assert camera_settings(exif({0xA403: 0})).white_balance == "auto"
    assert camera_settings(exif({0x9003: "2026:05:01 10:30:00\0"})).taken == "2026-05-01T10:30:00"


def test_who_where_and_with_what_is_not_kept(tmp_path: Path, picture: Picture) -> None:
    block = exif(USUAL | {0xA430: "J. Owner", 0xA431: "SN-0815", 0x9286: b"a comment", 0x882A: "+02:00"})
    block[0x010F], block[0x0110], block[0x013B] = "Maker", "Model 7", "The artist"
    block.get_ifd(0x8825).update({1: "N", 2: (Rational(48), Rational(8), Rational(15))})
    Image.fromarray(picture()).save(tmp_path / "a.jpg", exif=block, comment=b"a secret")
    photo = read_photo(tmp_path / "a.jpg")
    told = " ".join(
        str(getattr(photo, name)) for name in photo.__slots__ if name not in ("pixels", "sha256", "jpeg_steps")
    )
    for word in ("Owner", "0815", "comment", "Maker", "Model", "artist", "48", "+02", "secret"):
        assert word not in told


@pytest.mark.parametrize("value", [0, 9, -3, "top", (6, 6), b"\x06", None, Rational(1, 0)])
def test_an_orientation_that_is_none_leaves_the_picture_as_it_is(value: Any) -> None:
    block = Image.Exif()
    block[0x0112] = value
    assert orientation(block) == 1


@settings(max_examples=300)
@given(st.binary(max_size=300), st.booleans())
def test_no_block_of_bytes_makes_reading_it_fail(content: bytes, with_header: bool) -> None:
    block = Image.Exif()
    try:
        block.load((b"Exif\0\0II*\0\x08\0\0\0" if with_header else b"") + content)
    except Exception:
        return  # decode() sees to these
    found = camera_settings(block)
    assert 1 <= orientation(block) <= 8
    assert found.exposure_s is None or found.exposure_s > 0
