import hashlib
import io
import struct
import threading
import warnings
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import numpy as np
import pillow_heif
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from PIL import Image

from debriscount.errors import PhotoFileError
from debriscount.photo import decode as decode_module
from debriscount.photo.container import container as container_of
from debriscount.photo.read import photo_from_array, read_photo

RNG = np.random.default_rng(7)


def picture(height: int = 70, width: int = 90) -> NDArray[np.uint8]:
    """Smooth, so that JPEG keeps it; every corner has another colour."""
    y, x = np.mgrid[0 : 1 : height * 1j, 0 : 1 : width * 1j]
    return np.round(np.stack([x, y, 1 - x * y], axis=2) * 255).astype(np.uint8)


def saved(folder: Path, image: Image.Image, name: str, **options: Any) -> Path:
    file = folder / name
    image.save(file, **options)
    return file


def test_a_png_comes_back_as_it_was_written(tmp_path: Path) -> None:
    file = saved(tmp_path, Image.fromarray(picture()), "before.png")
    photo = read_photo(file)
    np.testing.assert_array_equal(photo.pixels, picture())
    assert photo.name == photo.file == "before.png"
    assert photo.sha256 == hashlib.sha256(file.read_bytes()).hexdigest()


def test_pixels_cannot_be_changed(tmp_path: Path) -> None:
    photo = read_photo(saved(tmp_path, Image.fromarray(picture()), "a.png"))
    with pytest.raises(ValueError, match="read-only"):
        photo.pixels[0, 0, 0] = 1


@pytest.mark.parametrize("orientation", range(1, 9))
def test_exif_orientation_is_undone(tmp_path: Path, orientation: int) -> None:
    # What a camera stores for each value (EXIF 2.32, tag 0x0112) when the upright scene is `picture()`.
    a = picture()
    stored = {
        1: a,
        2: a[:, ::-1],
        3: a[::-1, ::-1],
        4: a[::-1],
        5: a.transpose(1, 0, 2),
        6: a.transpose(1, 0, 2)[::-1],
        7: a.transpose(1, 0, 2)[::-1, ::-1],
        8: a.transpose(1, 0, 2)[:, ::-1],
    }[orientation]
    exif = Image.Exif()
    exif[0x0112] = orientation
    file = saved(tmp_path, Image.fromarray(np.ascontiguousarray(stored)), "a.jpg", quality=95, subsampling=0, exif=exif)
    np.testing.assert_allclose(read_photo(file).pixels.astype(int), a, atol=6)


def test_a_spoilt_exif_block_does_not_spoil_the_photo(tmp_path: Path) -> None:
    file = saved(tmp_path, Image.fromarray(picture()), "a.jpg", exif=b"Exif\0\0MM\0*\0\0\0\x08\0\xff\x01\x12")
    assert read_photo(file).pixels.shape == (70, 90, 3)


def test_transparency_is_dropped_not_blended(tmp_path: Path) -> None:
    alpha = np.full((70, 90, 1), 3, np.uint8)
    file = saved(tmp_path, Image.fromarray(np.concatenate([picture(), alpha], axis=2)), "a.png")
    np.testing.assert_array_equal(read_photo(file).pixels, picture())


@pytest.mark.parametrize("mode", ["L", "LA", "1"])
def test_grey_becomes_three_equal_channels(tmp_path: Path, mode: str) -> None:
    file = saved(tmp_path, Image.fromarray(picture()).convert("L").convert(mode), "a.png")
    pixels = read_photo(file).pixels
    assert pixels.shape == (70, 90, 3)
    np.testing.assert_array_equal(pixels[..., 0], pixels[..., 2])


def test_a_palette_with_transparency_keeps_its_colours(tmp_path: Path) -> None:
    image = Image.fromarray(picture()).quantize(64)
    expected = np.asarray(image.convert("RGB"))
    file = saved(tmp_path, image, "a.png", transparency=bytes(range(64)))
    np.testing.assert_array_equal(read_photo(file).pixels, expected)


@pytest.mark.parametrize("suffix", ["png", "tif"])
def test_sixteen_bit_grey_keeps_black_middle_and_white(tmp_path: Path, suffix: str) -> None:
    grey = np.full((64, 64), 32768, np.uint16)
    grey[0], grey[1] = 0, 65535
    file = saved(tmp_path, Image.fromarray(grey), f"a.{suffix}")
    assert read_photo(file).pixels[:3, 5].tolist() == [[0] * 3, [255] * 3, [128] * 3]


def test_sixteen_bit_colour_is_scaled_to_eight(tmp_path: Path) -> None:
    # Written by hand, for Pillow reads such files but cannot write them.
    import zlib

    rows = b"".join(b"\0" + struct.pack(">192H", *([65535, 32896, 257] * 64)) for _ in range(64))
    parts = [
        (b"IHDR", struct.pack(">IIBBBBB", 64, 64, 16, 2, 0, 0, 0)),
        (b"IDAT", zlib.compress(rows)),
        (b"IEND", b""),
    ]
    chunks = [struct.pack(">I", len(b)) + a + b + struct.pack(">I", zlib.crc32(a + b)) for a, b in parts]
    file = tmp_path / "a.png"
    file.write_bytes(b"\x89PNG\r\n\x1a\n" + b"".join(chunks))
    np.testing.assert_array_equal(read_photo(file).pixels[10, 10], [255, 128, 1])


def test_cmyk_is_converted(tmp_path: Path) -> None:
    file = saved(tmp_path, Image.fromarray(picture()).convert("CMYK"), "a.jpg", quality=95)
    np.testing.assert_allclose(read_photo(file).pixels.astype(int), picture(), atol=12)


def test_brightness_in_fractions_is_refused(tmp_path: Path) -> None:
    file = saved(tmp_path, Image.fromarray(np.zeros((64, 64), np.float32)), "a.tif")
    with pytest.raises(PhotoFileError, match=r"a\.tif: has more than 16 bits a pixel\. Export it as JPEG"):
        read_photo(file)


def test_a_missing_file_a_folder_and_an_empty_file_are_told_apart(tmp_path: Path) -> None:
    with pytest.raises(PhotoFileError, match=r"none\.jpg: there is no such file\. Give the path of a photo\."):
        read_photo(tmp_path / "none.jpg")
    with pytest.raises(PhotoFileError, match=r"is a folder\. Give the path of a photo in it\."):
        read_photo(tmp_path)
    (tmp_path / "empty.jpg").touch()
    with pytest.raises(PhotoFileError, match=r"empty\.jpg: is empty\. Copy it from the camera once more\."):
        read_photo(tmp_path / "empty.jpg")


def test_a_file_that_cannot_be_read_says_why(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(self: Path, mode: str) -> None:
        raise PermissionError(13, "Permission denied")

    file = saved(tmp_path, Image.fromarray(picture()), "a.png")
    monkeypatch.setattr(Path, "open", refuse)
    with pytest.raises(
        PhotoFileError, match=r"cannot be read \(Permission denied\)\. Check the path and the file's rig"
    ):
        read_photo(file)


def test_text_and_vector_graphics_are_no_photos(tmp_path: Path) -> None:
    for content in (b"hello", b"%!PS EPSF-3.0\n%%BoundingBox: 0 0 100 100\n"):
        (tmp_path / "a.jpg").write_bytes(content)
        with pytest.raises(PhotoFileError, match=r"a\.jpg: is no photo that can be read\. Give JPEG, HEIC, DNG, PNG"):
            read_photo(tmp_path / "a.jpg")


def test_a_file_cut_off_half_way_is_refused(tmp_path: Path) -> None:
    noise = RNG.integers(0, 256, (200, 300, 3), dtype=np.uint8)
    for name in ("a.jpg", "a.png", "a.tif"):
        file = saved(tmp_path, Image.fromarray(noise), name)
        file.write_bytes(file.read_bytes()[: file.stat().st_size // 2])
        with pytest.raises(PhotoFileError, match=r"a\..*: is damaged or cut off \(.*\)\. Copy it from the camera"):
            read_photo(file)


def test_a_thumbnail_is_refused(tmp_path: Path) -> None:
    file = saved(tmp_path, Image.fromarray(picture(63, 200)), "a.png")
    with pytest.raises(PhotoFileError, match=r"a\.png: has only 200 x 63 px, less than 64 on a side\. Give the photo"):
        read_photo(file)


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "TIFF", "WEBP", "BMP", "GIF", "HEIF"])
def test_a_single_pixel_is_refused_in_every_format(tmp_path: Path, kind: str) -> None:
    image, file = Image.new("RGB", (1, 1)), tmp_path / "a.jpg"
    if kind == "HEIF":
        pillow_heif.from_pillow(image).save(file)
    else:
        image.save(file, kind)
    with pytest.raises(PhotoFileError, match=r"a\.jpg: has only 1 x 1 px, less than 64 on a side\."):
        read_photo(file)


@pytest.mark.parametrize(
    "header",
    [
        b"BM" + struct.pack("<IHHIIiiHHIIiiII", 54, 0, 0, 54, 40, 20_000, 20_000, 1, 24, 0, 0, 0, 0, 0, 0),
        b"GIF89a" + struct.pack("<HHBBB", 65535, 65535, 0, 0, 0) + b",\0\0\0\0\xff\xff\xff\xff\0\x02\0;",
        b"RIFF\x1e\0\0\0WEBPVP8L\x11\0\0\0\x2f" + struct.pack("<I", 0x0FFFFFFF) + bytes(13),
    ],
    ids=["BMP", "GIF", "WebP"],
)
def test_small_files_of_huge_pictures_are_refused_in_a_moment(tmp_path: Path, header: bytes) -> None:
    (tmp_path / "a.jpg").write_bytes(header)
    with pytest.raises(PhotoFileError, match=r"damaged|more than 200 megapixels"):
        read_photo(tmp_path / "a.jpg", most_megapixels=200)


def test_too_many_pixels_are_refused_before_decoding(tmp_path: Path) -> None:
    header = struct.pack(">IIBBBBB", 20_000, 15_001, 8, 2, 0, 0, 0)
    import zlib

    chunk = struct.pack(">I", 13) + b"IHDR" + header + struct.pack(">I", zlib.crc32(b"IHDR" + header))
    (tmp_path / "a.png").write_bytes(b"\x89PNG\r\n\x1a\n" + chunk + b"\0\0\0\0IDAT\x35\xaf\x06\x1e")
    with pytest.raises(PhotoFileError, match=r"has 20000 x 15001 px, more than 120 megapixels\. Give the photo as"):
        read_photo(tmp_path / "a.png")


def test_pillows_own_limit_is_lifted_and_put_back(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(Image, "MAX_IMAGE_PIXELS", 1000)  # above it Pillow warns, above twice as much it refuses
    file = saved(tmp_path, Image.fromarray(picture()), "a.png")
    assert read_photo(file).pixels.shape == (70, 90, 3)
    assert Image.MAX_IMAGE_PIXELS == 1000


@pytest.mark.parametrize(
    "error",
    [SyntaxError("broken PNG"), struct.error("x"), EOFError(), ZeroDivisionError("x"), OSError("a\nb")],
)
def test_whatever_a_decoder_raises_becomes_one_line(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, error: Exception
) -> None:
    def fail(image: Image.Image) -> None:
        raise error

    monkeypatch.setattr(decode_module, "storage_of", fail)
    file = saved(tmp_path, Image.fromarray(picture()), "a.png")
    with pytest.raises(PhotoFileError, match=r"a\.png: is damaged or cut off \(.+\)") as caught:
        read_photo(file)
    assert "\n" not in str(caught.value)


FILES = {}
for _format in ("JPEG", "PNG", "TIFF", "WEBP", "BMP", "GIF"):
    _buffer = io.BytesIO()
    Image.fromarray(picture()).save(_buffer, _format)
    FILES[_format] = _buffer.getvalue()


@settings(max_examples=200)
@given(st.sampled_from(sorted(FILES)), st.data())
def test_spoilt_bytes_give_a_photo_or_our_error(
    tmp_path_factory: pytest.TempPathFactory, kind: str, data: st.DataObject
) -> None:
    content = bytearray(FILES[kind])
    for _ in range(data.draw(st.integers(1, 8))):
        content[data.draw(st.integers(0, len(content) - 1))] = data.draw(st.integers(0, 255))
    file = tmp_path_factory.mktemp("spoilt") / "a.jpg"
    file.write_bytes(content[: data.draw(st.integers(1, len(content)))])
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        try:
            photo = read_photo(file)
        except PhotoFileError as error:
            assert "\n" not in str(error)
        else:
            assert photo.pixels.dtype == np.uint8
            assert photo.pixels.shape[2:] == (3,)


def test_an_array_is_taken_as_it_is() -> None:
    photo = photo_from_array(picture()[:, ::-1], "before")
    np.testing.assert_array_equal(photo.pixels, picture()[:, ::-1])
    assert (photo.name, photo.file, photo.sha256) == ("before", "", "")


@pytest.mark.parametrize(
    ("array", "message"),
    [
        (
            picture().astype(float),
            r"before must be an array of uint8 of shape \(H, W, 3\), got float64 of shape \(70,",
        ),
        (picture()[..., 0], r"got uint8 of shape \(70, 90\)"),
        (picture(60, 90), r"before must be at least 64 px on each side, got shape \(60, 90, 3\)"),
    ],
)
def test_a_wrong_array_is_a_programmers_mistake(array: NDArray[np.uint8], message: str) -> None:
    with pytest.raises(ValueError, match=message):
        photo_from_array(array, "before")


def test_of_several_pictures_in_a_file_the_first_counts(tmp_path: Path) -> None:
    first, second = Image.fromarray(picture()), Image.fromarray(255 - picture())
    file = saved(tmp_path, first, "a.jpg", format="MPO", save_all=True, append_images=[second], quality=95)
    np.testing.assert_allclose(read_photo(file).pixels.astype(int), picture(), atol=12)


def test_of_photos_read_at_once_the_last_turns_the_switches_back(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    files = [saved(tmp_path, Image.fromarray(picture(70 + i, 90)), f"{i}.png") for i in range(2)]
    both, first_done = threading.Barrier(2), threading.Event()
    container, limits = container_of, []

    def held(content: bytes) -> str:
        both.wait(10)
        if content == files[1].read_bytes():
            first_done.wait(10)
            limits.append(Image.MAX_IMAGE_PIXELS)
        return container(content)

    monkeypatch.setattr(decode_module, "container", held)
    monkeypatch.setattr(Image, "MAX_IMAGE_PIXELS", 1000)
    with ThreadPoolExecutor(2) as pool:
        second = pool.submit(read_photo, files[1])
        assert pool.submit(read_photo, files[0]).result(10).pixels.shape == (70, 90, 3)
        first_done.set()
        assert second.result(10).pixels.shape == (71, 90, 3)
    assert limits == [None]
    assert Image.MAX_IMAGE_PIXELS == 1000
