import struct
import sys
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from debriscount.errors import PhotoFileError
from debriscount.photo.colour import linear_to_srgb
from debriscount.photo.read import Photo, read_photo
from debriscount.photo.settings import CameraSettings

Dng = Callable[..., bytes]
ROWS, COLUMNS = np.mgrid[0:1:96j, 0:1:128j]
#: Light from 0 to 1; every corner another, each channel smooth, so that what lies between the sensor's colours is known.
LIGHT = np.stack([0.1 + 0.6 * COLUMNS, np.full_like(ROWS, 0.3), 0.5 - 0.4 * ROWS], axis=2)
INSIDE = (slice(4, -4), slice(4, -4))


def read(folder: Path, content: bytes) -> Photo:
    pytest.importorskip("rawpy")
    (folder / "a.jpg").write_bytes(content)
    return read_photo(folder / "a.jpg")


def encoded(light: NDArray[np.float64]) -> NDArray[np.float64]:
    return 255 * linear_to_srgb(light)


@pytest.mark.parametrize("neutral", [(0.5, 1.0, 0.8), (0.8, 1.0, 0.4)])
def test_light_comes_out_as_it_went_in(tmp_path: Path, dng: Dng, neutral: tuple[float, float, float]) -> None:
    # Independent: sRGB's curve (IEC 61966-2-1) of the light the file was made from; LibRaw rounds down.
    photo = read(tmp_path, dng(LIGHT, neutral=neutral))
    assert np.abs(photo.pixels - encoded(LIGHT))[INSIDE].max() < 1.5
    assert (photo.jpeg_steps, photo.grey, photo.warnings) == (None, False, ())


def test_half_the_light_is_half_the_light(tmp_path: Path, dng: Dng) -> None:
    # Nothing adapts: neither brightness nor the white level to the brightest pixel, nor the balance to the scene.
    for share in (0.5, 0.99 / LIGHT.max()):
        photo = read(tmp_path, dng(share * LIGHT))
        assert np.abs(photo.pixels - encoded(share * LIGHT))[INSIDE].max() < 1.5


def test_what_is_brighter_than_white_is_white(tmp_path: Path, dng: Dng) -> None:
    assert (read(tmp_path, dng(np.full((96, 128, 3), 1.4))).pixels >= 254).all()


@pytest.mark.parametrize(("orientation", "turned_deg"), {1: 0, 3: 180, 6: 90, 8: 270}.items())
def test_it_is_turned_upright(tmp_path: Path, dng: Dng, orientation: int, turned_deg: int) -> None:
    stored = np.rot90(LIGHT, turned_deg // 90)
    photo = read(tmp_path, dng(stored, orientation=orientation))
    assert np.abs(photo.pixels - encoded(LIGHT))[INSIDE].max() < 1.5
    assert photo.turned_deg == turned_deg


def test_both_byte_orders_are_read(tmp_path: Path, dng: Dng) -> None:
    little, big = (read(tmp_path, dng(LIGHT, byteorder=order)).pixels for order in "<>")
    np.testing.assert_array_equal(little, big)


def test_the_settings_are_read_too(tmp_path: Path, dng: Dng) -> None:
    plain = dng(LIGHT, exif_at=0)
    # A directory behind the picture: ISO speed 200 and flash fired, each a short.
    entries = struct.pack("<HHHIIHHIII", 2, 0x8827, 3, 1, 200, 0x9209, 3, 1, 1, 0)
    settings = read(tmp_path, dng(LIGHT, exif_at=len(plain)) + entries).settings
    assert settings == CameraSettings(iso=200.0, flash=True)


def test_the_size_is_checked_before_unpacking(tmp_path: Path, dng: Dng) -> None:
    pytest.importorskip("rawpy")
    (tmp_path / "a.dng").write_bytes(dng(LIGHT))
    with pytest.raises(PhotoFileError, match=r"a\.dng: has 128 x 96 px, more than 0\.01 megapixels\. Give the photo"):
        read_photo(tmp_path / "a.dng", most_megapixels=0.01)


def test_without_rawpy_the_message_says_what_to_install(
    tmp_path: Path, dng: Dng, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "rawpy", None)
    (tmp_path / "a.dng").write_bytes(dng(LIGHT))
    with pytest.raises(PhotoFileError, match=r"needs rawpy\. Install it with pip install 'debriscount\[raw\]'") as told:
        read_photo(tmp_path / "a.dng")
    assert "\n" not in str(told.value)


def test_a_damaged_one_says_so_and_nothing_else(tmp_path: Path, dng: Dng, capfd: pytest.CaptureFixture[str]) -> None:
    content = dng(LIGHT)
    with pytest.raises(PhotoFileError, match=r"a\.jpg: is damaged or cut off \(Input/output error\)\. Copy it from"):
        read(tmp_path, content[: len(content) // 2])
    assert capfd.readouterr() == ("", "")


def test_a_damaged_file_is_one_error_and_no_warning(tmp_path: Path) -> None:
    """Pillow warns of every spoilt tag, before the kind of file is known already."""
    import warnings

    content = b"II*\0\x08\0\0\0\x0b\0" + b"".join(struct.pack("<HHII", 254 + n, 4, 900, 90000) for n in range(11))
    (tmp_path / "a.dng").write_bytes(content)
    with warnings.catch_warnings(record=True) as told:
        warnings.simplefilter("always")
        with pytest.raises(PhotoFileError):
            read_photo(tmp_path / "a.dng")
    assert told == []
