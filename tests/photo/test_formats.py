"""Every kind of file that phones and cameras write, as far as general libraries can write it."""

import io
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pillow_heif
import pytest
import tifffile
from numpy.typing import NDArray
from PIL import Image, ImageChops, features

from debriscount.errors import PhotoFileError
from debriscount.photo.read import read_photo

Picture = Callable[..., NDArray[np.uint8]]
needs_avif = pytest.mark.skipif(not features.check("avif"), reason="this Pillow is built without AVIF")
SEVERAL = ("it holds several pictures, of which the first was taken; give the others as files of their own",)


def written(folder: Path, content: bytes, name: str = "a.jpg") -> Path:
    file = folder / name
    file.write_bytes(content)
    return file


def with_orientation(orientation: int) -> bytes:
    exif = Image.Exif()
    exif[0x0112] = orientation
    return exif.tobytes()


def heic(pixels: NDArray[np.uint8], **options: Any) -> bytes:
    file = io.BytesIO()
    options = {"quality": 95, "chroma": 444, **options}
    pillow_heif.from_pillow(Image.fromarray(pixels)).save(file, **options)
    return file.getvalue()


def avif(pixels: NDArray[np.uint8], **options: Any) -> bytes:
    file = io.BytesIO()
    Image.fromarray(pixels).save(file, "AVIF", quality=95, subsampling="4:4:4", **options)
    return file.getvalue()


def tiff(pixels: NDArray[Any], **options: Any) -> bytes:
    file = io.BytesIO()
    tifffile.imwrite(file, pixels, **options)
    return file.getvalue()


@pytest.mark.parametrize("kind", [heic, pytest.param(avif, marks=needs_avif)])
def test_heic_and_avif_are_read_whatever_they_are_called(
    tmp_path: Path, picture: Picture, kind: Callable[[NDArray[np.uint8]], bytes]
) -> None:
    photo = read_photo(written(tmp_path, kind(picture()), "a.jpg"))
    np.testing.assert_allclose(photo.pixels.astype(int), picture(), atol=8)
    assert (photo.turned_deg, photo.jpeg_steps, photo.grey, photo.warnings) == (0, None, False, ())


# What each value makes upright (EXIF 2.32, tag 0x0112), and the clockwise turn of the unmirrored ones.
TURNS = {1: 0, 2: 0, 3: 180, 4: 0, 5: 0, 6: 90, 7: 0, 8: 270}


def stored_as(upright: NDArray[Any], orientation: int) -> NDArray[Any]:
    """What a camera stores for each orientation when the upright scene is this."""
    across = upright.transpose(1, 0, 2)
    return np.ascontiguousarray(
        {
            1: upright, 2: upright[:, ::-1], 3: upright[::-1, ::-1], 4: upright[::-1],
            5: across, 6: across[::-1], 7: across[::-1, ::-1], 8: across[:, ::-1],
        }[orientation]
    )  # fmt: skip


@pytest.mark.parametrize(("orientation", "turned_deg"), TURNS.items())
@pytest.mark.parametrize("kind", ["jpeg", "png", "webp", "tiff", "heic", pytest.param("avif", marks=needs_avif)])
def test_every_kind_is_turned_upright_once(
    tmp_path: Path, picture: Picture, kind: str, orientation: int, turned_deg: int
) -> None:
    stored = stored_as(picture(), orientation)
    exif = with_orientation(orientation)
    if kind in ("heic", "avif"):
        # These libraries write the orientation as turning and mirroring boxes as well, as phones do.
        content = {"heic": heic, "avif": avif}[kind](stored, exif=exif)
    elif kind == "tiff":
        content = tiff(stored, photometric="rgb", extratags=[(274, 3, 1, orientation, True)])
    else:
        file = io.BytesIO()
        Image.fromarray(stored).save(file, kind, quality=95, lossless=True, exif=exif)
        content = file.getvalue()
    photo = read_photo(written(tmp_path, content))
    np.testing.assert_allclose(photo.pixels.astype(int), picture(), atol=12)
    assert photo.turned_deg == turned_deg


def test_a_heic_whose_exif_alone_asks_for_a_turn_is_not_turned(tmp_path: Path, picture: Picture) -> None:
    # ISO/IEC 23008-12: the boxes turn the picture; EXIF orientation repeats them for information only.
    content = heic(picture(), exif=with_orientation(6))
    content = content.replace(b"\0\0\0\x09irot\x03", b"\0\0\0\x09irot\0")
    photo = read_photo(written(tmp_path, content))
    np.testing.assert_allclose(photo.pixels.astype(int), picture(), atol=8)
    assert photo.turned_deg == 0


def test_ten_bit_heic_is_scaled_to_eight(tmp_path: Path, picture: Picture) -> None:
    file = io.BytesIO()
    deep = picture().astype(np.uint16) * 257
    pillow_heif.from_bytes("RGB;16", (90, 70), deep.tobytes()).save(file, quality=95, chroma=444)
    np.testing.assert_allclose(read_photo(written(tmp_path, file.getvalue())).pixels.astype(int), picture(), atol=8)


@pytest.mark.parametrize(
    "codes",
    [{"color_primaries": 9, "transfer_characteristics": 16}, {"color_primaries": 12, "transfer_characteristics": 13}],
)
def test_heic_coded_for_other_screens_is_told_of(tmp_path: Path, picture: Picture, codes: dict[str, int]) -> None:
    photo = read_photo(written(tmp_path, heic(picture(), **codes)))
    assert photo.warnings == (
        f"its colours are coded for other screens (H.273 primaries {codes['color_primaries']}, curve "
        f"{codes['transfer_characteristics']}) and were read as sRGB; switch HDR off, or export the photo as sRGB",
    )


DEEP = np.random.default_rng(3).integers(0, 65536, (70, 90, 3), dtype=np.uint16)
EIGHT = np.round(DEEP / 257).astype(int)
OPAQUE = np.full((70, 90, 1), 65535, np.uint16)
PLANES = np.ascontiguousarray(DEEP.transpose(2, 0, 1))


@pytest.mark.parametrize("byteorder", ["<", ">"])
@pytest.mark.parametrize(
    ("pixels", "options"),
    [
        (DEEP, {}),
        (DEEP, {"compression": "zlib"}),
        (DEEP, {"tile": (32, 32)}),
        (PLANES, {"planarconfig": "separate"}),
        (PLANES, {"planarconfig": "separate", "compression": "zlib"}),
        (np.concatenate([DEEP, OPAQUE // 3], axis=2), {"extrasamples": ["unassalpha"]}),
        (np.concatenate([DEEP, OPAQUE], axis=2), {"extrasamples": ["assocalpha"]}),
    ],
    ids=["plain", "deflate", "tiles", "planes", "planes deflate", "alpha", "premultiplied"],
)
def test_sixteen_bit_colour_tiffs_are_scaled_to_eight(
    tmp_path: Path, pixels: NDArray[np.uint16], options: dict[str, Any], byteorder: str
) -> None:
    # Pillow keeps the upper byte, which is one level off at most.
    file = written(tmp_path, tiff(pixels, photometric="rgb", byteorder=byteorder, **options))
    np.testing.assert_allclose(read_photo(file).pixels.astype(int), EIGHT, atol=1)


@pytest.mark.parametrize("photometric", ["minisblack", "miniswhite"])
def test_sixteen_bit_grey_tiffs_heed_which_end_is_white(tmp_path: Path, photometric: str) -> None:
    file = written(tmp_path, tiff(DEEP[..., 0], photometric=photometric))
    expected = EIGHT[..., 0] if photometric == "minisblack" else 255 - EIGHT[..., 0]
    photo = read_photo(file)
    np.testing.assert_allclose(photo.pixels[..., 1].astype(int), expected, atol=1)
    assert photo.grey


@pytest.mark.parametrize("compression", [None, "tiff_lzw", "tiff_deflate", "packbits", "jpeg"])
def test_eight_bit_tiffs_are_read_however_compressed(tmp_path: Path, picture: Picture, compression: str | None) -> None:
    options: dict[str, Any] = {"quality": 95} if compression == "jpeg" else {}
    Image.fromarray(picture()).save(tmp_path / "a.tif", compression=compression, **options)
    np.testing.assert_allclose(read_photo(tmp_path / "a.tif").pixels.astype(int), picture(), atol=12)


def test_a_tiff_in_lab_is_converted(tmp_path: Path) -> None:
    # CIE 15: L* = 128 / 255 * 100 = 50.2 without colour is 0.1856 of white, which sRGB encodes as 119.5.
    lab = np.zeros((70, 90, 3), np.uint8)
    lab[..., 0] = 128
    photo = read_photo(written(tmp_path, tiff(lab, photometric="cielab")))
    np.testing.assert_allclose(photo.pixels, 119.5, atol=1.5)


@pytest.mark.parametrize("marked", [True, False], ids=["marked, inverted", "plain"])
def test_cmyk_jpegs_are_read_inverted_or_not(tmp_path: Path, picture: Picture, marked: bool) -> None:
    image = Image.fromarray(picture()).convert("CMYK")
    file = io.BytesIO()
    (image if marked else ImageChops.invert(image)).save(file, "JPEG", quality=95, subsampling=0)
    content = file.getvalue()
    if not marked:
        start = content.index(b"\xff\xee")  # the segment in which the first kind marks itself
        content = content[:start] + content[start + 2 + int.from_bytes(content[start + 2 : start + 4], "big") :]
    photo = read_photo(written(tmp_path, content))
    np.testing.assert_allclose(photo.pixels.astype(int), picture(), atol=12)
    assert photo.jpeg_steps is None  # inks are no luma and chroma


@pytest.mark.parametrize("kind", ["GIF", "PNG", "TIFF", "WEBP", "MPO", "HEIF", pytest.param("AVIF", marks=needs_avif)])
def test_of_several_pictures_the_first_is_taken_with_a_warning(tmp_path: Path, picture: Picture, kind: str) -> None:
    first, second = Image.fromarray(picture()), Image.fromarray(255 - picture())
    file = tmp_path / "a.jpg"
    if kind == "HEIF":
        both = pillow_heif.from_pillow(first)
        both.add_from_pillow(second)
        both.save(file, quality=95)
    else:
        options = {"WEBP": {"lossless": True}}.get(kind, {"quality": 95})
        first.save(file, kind, save_all=True, append_images=[second], **options)
    photo = read_photo(file)
    difference = np.abs(photo.pixels.astype(int) - picture()).mean()
    assert difference < (10 if kind == "GIF" else 3)  # a palette has 256 colours
    assert photo.warnings == SEVERAL


@pytest.mark.parametrize("kind", ["MPO", "TIFF"])
def test_a_preview_beside_the_picture_is_no_reason_to_warn(tmp_path: Path, picture: Picture, kind: str) -> None:
    preview = Image.fromarray(picture(64, 64))
    Image.fromarray(picture()).save(tmp_path / "a.jpg", kind, save_all=True, append_images=[preview])
    assert read_photo(tmp_path / "a.jpg").warnings == ()


@pytest.mark.parametrize(
    ("tags", "message"),
    [
        ([(50706, 1, 4, bytes([1, 4, 0, 0]), True)], "damaged or cut off"),  # says DNG, and is none
        (
            [(254, 4, 1, 1, True)],
            r"is a raw file in a format of the camera's maker\. Convert it to DNG, or export it as JPEG",
        ),
    ],
)
def test_the_preview_in_a_raw_file_is_never_taken_for_the_photo(
    tmp_path: Path, picture: Picture, tags: list[tuple[object, ...]], message: str
) -> None:
    pytest.importorskip("rawpy")
    file = written(tmp_path, tiff(picture(), photometric="rgb", extratags=tags))
    with pytest.raises(PhotoFileError, match=message):
        read_photo(file)
