import struct
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image, ImageCms

from debriscount.photo.profile import _transform, to_srgb
from debriscount.photo.read import read_photo

Picture = Callable[..., NDArray[np.uint8]]

#: Chromaticities x, y of red, green, blue; white is D65 (0.3127, 0.3290) for all.
SRGB = ((0.64, 0.33), (0.30, 0.60), (0.15, 0.06))  # IEC 61966-2-1
P3 = ((0.680, 0.320), (0.265, 0.690), (0.150, 0.060))  # SMPTE EG 432-1, with D65 white as SMPTE RP 431-2 Annex C
OP_RGB = ((0.64, 0.33), (0.21, 0.71), (0.15, 0.06))  # opRGB (IEC 61966-2-5), whose curve is a power of 563/256
#: XYZ of D65, and the Bradford matrix to the D50 of profiles (ICC.1:2010, Annex E).
BRADFORD = np.array([[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]])
D50 = np.array([0.9642, 1.0, 0.8249])


def to_xyz(primaries: tuple[tuple[float, float], ...]) -> NDArray[np.float64]:
    """Matrix from linear RGB to XYZ, white being D65 (SMPTE RP 177)."""
    columns = np.array([[x / y, 1, (1 - x - y) / y] for x, y in primaries]).T
    white = np.array([0.3127 / 0.3290, 1, (1 - 0.3127 - 0.3290) / 0.3290])
    return columns * np.linalg.solve(columns, white)


def srgb_curve(linear: NDArray[np.float64]) -> NDArray[np.float64]:
    """IEC 61966-2-1."""
    v = np.clip(linear, 0, 1)
    return np.where(v <= 0.0031308, 12.92 * v, 1.055 * v ** (1 / 2.4) - 0.055)


def srgb_light(encoded: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.where(encoded <= 0.04045, encoded / 12.92, ((encoded + 0.055) / 1.055) ** 2.4)


def fixed(*values: float) -> bytes:
    return b"".join(struct.pack(">i", round(value * 65536)) for value in values)


def parametric(*numbers: float) -> bytes:
    """A curve by formula: a power, or type 3 with sRGB's straight part."""
    return b"para\0\0\0\0" + struct.pack(">HH", 0 if len(numbers) == 1 else 3, 0) + fixed(*numbers)


SRGB_CURVE = parametric(2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045)


def profile(space: bytes, tags: dict[bytes, bytes]) -> bytes:
    """An ICC profile of version 4 (ICC.1:2010, 7.2 and 7.3)."""
    tags = {b"wtpt": b"XYZ \0\0\0\0" + fixed(*D50), b"desc": b"mluc" + bytes(4) + struct.pack(">II", 0, 12), **tags}
    at = 128 + 4 + 12 * len(tags)
    table, body = struct.pack(">I", len(tags)), b""
    for name, content in tags.items():
        table += name + struct.pack(">II", at + len(body), len(content))
        body += content + bytes(-len(content) % 4)
    header = struct.pack(">I4sI4s4s4s", at + len(body), b"\0" * 4, 0x04300000, b"mntr", space, b"XYZ ")
    header += struct.pack(">6H", 2026, 1, 1, 0, 0, 0) + b"acsp" + bytes(28) + fixed(*D50)
    return header.ljust(128, b"\0") + table + body


def rgb_profile(primaries: tuple[tuple[float, float], ...], curve: bytes) -> bytes:
    """A profile of three primaries and one curve, its colours brought to D50 as profiles must be."""
    d65 = to_xyz(primaries).sum(axis=1)
    adapt = np.linalg.inv(BRADFORD) @ np.diag((BRADFORD @ D50) / (BRADFORD @ d65)) @ BRADFORD
    columns = (adapt @ to_xyz(primaries)).T
    tags = {name + b"XYZ": b"XYZ \0\0\0\0" + fixed(*c) for name, c in zip((b"r", b"g", b"b"), columns, strict=True)}
    return profile(b"RGB ", tags | {name + b"TRC": curve for name in (b"r", b"g", b"b")})


def seen_in_srgb(primaries: tuple[tuple[float, float], ...], light: NDArray[np.float64]) -> NDArray[np.float64]:
    """Independent: by the matrices of the primaries' own standards."""
    matrix = np.linalg.inv(to_xyz(SRGB)) @ to_xyz(primaries)
    return 255 * srgb_curve(light @ matrix.T)


COLOURS = np.random.default_rng(5).integers(0, 256, (70, 90, 3), dtype=np.uint8)


def test_the_matrices_are_those_of_the_standards() -> None:
    # Published: IEC 61966-2-1, the matrix from linear sRGB to XYZ.
    published = [[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]]
    np.testing.assert_allclose(to_xyz(SRGB), published, atol=6e-5)
    # P3-D65's red in linear sRGB, from memory: (1.2249, -0.0420, -0.0196).
    red = np.linalg.inv(to_xyz(SRGB)) @ to_xyz(P3) @ [1, 0, 0]
    np.testing.assert_allclose(red, [1.2249, -0.0420, -0.0196], atol=5e-4)


@pytest.mark.parametrize(
    ("primaries", "curve", "light"),
    [
        (P3, SRGB_CURVE, srgb_light(COLOURS / 255)),
        (OP_RGB, parametric(563 / 256), (COLOURS / 255) ** (563 / 256)),
    ],
    ids=["P3-D65", "opRGB"],
)
@pytest.mark.parametrize("suffix", ["png", "tif"])
def test_colours_of_wider_spaces_come_out_as_their_primaries_say(
    tmp_path: Path,
    primaries: tuple[tuple[float, float], ...],
    curve: bytes,
    light: NDArray[np.float64],
    suffix: str,
) -> None:
    file = tmp_path / f"a.{suffix}"
    Image.fromarray(COLOURS).save(file, icc_profile=rgb_profile(primaries, curve))
    photo = read_photo(file)
    expected = seen_in_srgb(primaries, light)
    assert np.abs(photo.pixels - expected).max() < 2.5
    assert np.abs(photo.pixels - COLOURS.astype(int)).max() > 20
    assert photo.warnings == ()


@pytest.mark.parametrize("kind", ["JPEG", "WEBP", "HEIF"])
def test_profiles_are_found_in_every_kind_of_file(tmp_path: Path, picture: Picture, kind: str) -> None:
    import pillow_heif

    file = tmp_path / "a.jpg"
    icc = rgb_profile(P3, SRGB_CURVE)
    if kind == "HEIF":
        pillow_heif.from_pillow(Image.fromarray(picture())).save(file, quality=98, chroma=444, icc_profile=icc)
    else:
        Image.fromarray(picture()).save(file, kind, quality=98, subsampling=0, lossless=True, icc_profile=icc)
    expected = seen_in_srgb(P3, srgb_light(picture() / 255))
    # Steep near black, where a level of the coding becomes several.
    assert np.quantile(np.abs(read_photo(file).pixels - expected), 0.99) < 6


def test_an_srgb_profile_changes_no_pixel(tmp_path: Path) -> None:
    for icc in (ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes(), rgb_profile(SRGB, SRGB_CURVE)):
        Image.fromarray(COLOURS).save(tmp_path / "a.png", icc_profile=icc)
        photo = read_photo(tmp_path / "a.png")
        np.testing.assert_array_equal(photo.pixels, COLOURS)
        assert photo.warnings == ()
        image = Image.fromarray(COLOURS)
        assert to_srgb(image, icc)[0] is image  # not even looked at


def test_a_profile_is_taken_apart_once() -> None:
    icc = rgb_profile(P3, SRGB_CURVE)
    _transform.cache_clear()
    for _ in range(3):
        to_srgb(Image.fromarray(COLOURS), bytes(bytearray(icc)))
    assert (_transform.cache_info().misses, _transform.cache_info().hits) == (1, 2)


def test_grey_profiles_give_grey_of_their_own_curve(tmp_path: Path) -> None:
    # Independent: a curve of power 1.8 undone, sRGB's done.
    grey = np.tile(np.arange(256, dtype=np.uint8), (70, 1))
    icc = profile(b"GRAY", {b"kTRC": parametric(1.8)})
    Image.fromarray(grey).save(tmp_path / "a.png", icc_profile=icc)
    photo = read_photo(tmp_path / "a.png")
    expected = 255 * srgb_curve((grey / 255) ** 1.8)
    assert np.abs(photo.pixels - expected[..., None])[:, 8:].max() < 1.5
    assert photo.grey


def test_ink_profiles_are_used(tmp_path: Path, picture: Picture) -> None:
    """A profile whose table turns ink into Lab as if cyan were nothing: any ink is seen as the table says."""
    corners = np.array(np.meshgrid(*[[0, 1]] * 4, indexing="ij")).reshape(4, -1).T  # cyan varies slowest (10.11)
    lightness = 65535 * (1 - corners[:, 3]) * np.where(corners[:, 1] == 1, 0.5, 1)
    table = np.stack([lightness, np.full(16, 32896), np.full(16, 32896)], axis=1).round()
    straight = struct.pack(">2H", 0, 65535)
    lut = b"mft2" + bytes(4) + struct.pack(">4B", 4, 3, 2, 0) + fixed(1, 0, 0, 0, 1, 0, 0, 0, 1)
    lut += struct.pack(">HH", 2, 2) + straight * 4 + struct.pack(">48H", *table.ravel().astype(int)) + straight * 3
    icc = bytearray(profile(b"CMYK", {b"A2B0": lut, b"A2B1": lut}))
    icc[12:16], icc[20:24] = b"prtr", b"Lab "
    inks = np.zeros((70, 90, 4), np.uint8)
    inks[:, 45:, 0] = 255  # cyan alone: seen as white
    Image.fromarray(inks, "CMYK").save(tmp_path / "a.tif", icc_profile=bytes(icc))
    photo = read_photo(tmp_path / "a.tif")
    assert photo.warnings == ()
    assert (photo.pixels >= 250).all()


@pytest.mark.parametrize(
    "spoil",
    [
        lambda icc: icc[:100],
        lambda icc: b"not a profile at all" * 20,
        lambda icc: icc[:132] + bytes(len(icc) - 132),
        lambda icc: icc.replace(b"RGB ", b"\xff\xfe\xfd\xfc"),
    ],
    ids=["cut off", "text", "no tags", "no colour space"],
)
def test_a_broken_profile_is_left_out_with_a_warning(tmp_path: Path, spoil: Callable[[bytes], bytes]) -> None:
    Image.fromarray(COLOURS).save(tmp_path / "a.png", icc_profile=spoil(rgb_profile(P3, SRGB_CURVE)))
    photo = read_photo(tmp_path / "a.png")
    np.testing.assert_array_equal(photo.pixels, COLOURS)
    assert photo.warnings == (
        "its colour profile is damaged and was ignored; if the colours look wrong, export the photo as sRGB",
    )


def test_a_profile_for_other_pixels_is_left_out_with_a_warning(tmp_path: Path) -> None:
    Image.fromarray(COLOURS).save(tmp_path / "a.png", icc_profile=profile(b"GRAY", {b"kTRC": parametric(1.8)}))
    photo = read_photo(tmp_path / "a.png")
    np.testing.assert_array_equal(photo.pixels, COLOURS)
    assert photo.warnings == (
        "its colour profile is made for other pixels and was ignored; if the colours look wrong, export the photo as sRGB",
    )
