"""Damaged files: whatever is in them, reading gives a photo or our error, in a line, in time, and quietly.

The decoders are C libraries, so they run in a process of their own (this file as a script); a crash or hang there shows
as the test's failure, with the seed of the file that caused it.
"""

import importlib.util
import io
import os
import struct
import subprocess
import sys
import tempfile
import traceback
import zlib
from collections.abc import Callable
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np
import pytest
from PIL import Image, ImageCms, features

#: `tests/benchmarks/hostile.py` tries thousands.
VARIANTS = 100
FORMATS = ("JPEG", "HEIC", "AVIF", "PNG", "TIFF 8", "TIFF 16", "WebP", "GIF", "BMP", "DNG")
#: So low that a damaged header cannot make the test slow.
MOST_MEGAPIXELS = 0.5
MOST_BYTES = 4 * 2**30
#: Far more than it takes, for machines that do much else.
TIMEOUT_S = 120


@pytest.mark.slow
@pytest.mark.parametrize("kind", FORMATS)
def test_damaged_files_give_a_photo_or_our_error(kind: str) -> None:
    if kind == "DNG":
        pytest.importorskip("rawpy")
    if kind == "AVIF" and not features.check("avif"):
        pytest.skip("this Pillow is built without AVIF")
    try:
        run = subprocess.run(
            [sys.executable, "-W", "error", __file__, kind],
            capture_output=True, text=True, timeout=TIMEOUT_S, check=False,
            env={**os.environ, "OMP_NUM_THREADS": "1"},  # threads cost more than they gain on small pictures
        )  # fmt: skip
    except subprocess.TimeoutExpired as late:
        reached = (late.stdout or b"").decode().split()
        pytest.fail(f"{kind} hangs or dawdles at seed {reached[-1] if reached else 'none'}")
    seeds = run.stdout.split()
    assert run.returncode == 0, f"{kind} crashes at seed {seeds[-1] if seeds else 'none'}: {run.stderr}"
    assert len(seeds) == VARIANTS
    assert run.stderr == ""


def whole_files(kind: str) -> list[bytes]:
    """Undamaged files of a kind, with EXIF block and profile where the kind can have them."""
    rng = np.random.default_rng(1)
    image = Image.fromarray(rng.integers(0, 256, (9, 12, 3), dtype=np.uint8)).resize((96, 72), Image.Resampling.BICUBIC)
    exif = Image.Exif()
    exif[0x0112] = 6
    exif.get_ifd(0x8769).update({0x829A: 0.01, 0x829D: 1.8, 0x8827: 100, 0x9003: "2026:05:01 10:30:00"})
    with_tags = {
        "exif": exif.tobytes(),
        "icc_profile": ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes(),
    }

    def saved(format: str, **options: Any) -> bytes:
        file = io.BytesIO()
        image.save(file, format, **options)
        return file.getvalue()

    if kind == "HEIC":
        import pillow_heif

        file = io.BytesIO()
        pillow_heif.from_pillow(image).save(file, quality=60, **with_tags)
        tiled = io.BytesIO()
        pillow_heif.from_pillow(image).save(tiled, quality=60, tile_size=64)
        return [file.getvalue(), tiled.getvalue()]
    if kind == "DNG":
        made: bytes = _conftest().make_dng(np.asarray(image) / 255, orientation=6)
        return [made]
    if kind == "TIFF 16":
        import tifffile

        files = []
        for options in ({}, {"compression": "zlib"}, {"byteorder": ">", "tile": (32, 32)}):
            file = io.BytesIO()
            tifffile.imwrite(file, np.asarray(image).astype(np.uint16) * 257, photometric="rgb", **options)
            files.append(file.getvalue())
        return files
    return {
        "JPEG": lambda: [saved("JPEG", **with_tags), saved("JPEG", progressive=True, **with_tags)],
        "PNG": lambda: [saved("PNG", **with_tags)],
        "TIFF 8": lambda: [
            saved("TIFF", **with_tags),  # which Pillow cannot write compressed
            *(saved("TIFF", compression=c) for c in ("tiff_deflate", "tiff_lzw", "jpeg", "packbits")),
        ],
        "WebP": lambda: [saved("WEBP", **with_tags), saved("WEBP", lossless=True)],
        "GIF": lambda: [saved("GIF", save_all=True, append_images=[image.rotate(180)])],
        "BMP": lambda: [saved("BMP")],
        "AVIF": lambda: [saved("AVIF", quality=60, **with_tags)],
    }[kind]()


def damaged(content: bytes, rng: np.random.Generator) -> bytes:
    """Damage a file in one to three ways."""
    spoilt = bytearray(content)
    for _ in range(rng.integers(1, 4)):
        ways: list[Callable[[bytearray, np.random.Generator], None]] = [
            _cut_off, _flip_bits, _zero_run, _random_run, _swap, _huge_field, _spoil_tags, _leave_out,
        ]  # fmt: skip
        if len(spoilt) > 16:
            ways[rng.integers(len(ways))](spoilt, rng)
    # Half of the PNG with right sums, or hardly one would get past them.
    return _with_right_sums(bytes(spoilt)) if rng.random() < 0.5 else bytes(spoilt)


def _with_right_sums(content: bytes) -> bytes:
    """A PNG with the check sum of every chunk put right; other files as they are."""
    if not content.startswith(b"\x89PNG\r\n\x1a\n"):
        return content
    mended, at = bytearray(content), 8
    while at + 12 <= len(content):
        end = at + 8 + int.from_bytes(content[at : at + 4], "big")
        if end + 4 <= len(content):
            mended[end : end + 4] = struct.pack(">I", zlib.crc32(content[at + 4 : end]))
        at = end + 4
    return bytes(mended)


def _run(size: int, rng: np.random.Generator) -> slice:
    start = int(rng.integers(size))
    return slice(start, min(size, start + int(2 ** rng.uniform(0, 8))))


def _cut_off(b: bytearray, rng: np.random.Generator) -> None:
    del b[int(rng.integers(8, len(b))) :]


def _flip_bits(b: bytearray, rng: np.random.Generator) -> None:
    for at in rng.integers(0, len(b), rng.integers(1, 17)):
        b[at] ^= 1 << int(rng.integers(8))


def _zero_run(b: bytearray, rng: np.random.Generator) -> None:
    run = _run(len(b), rng)
    b[run] = bytes(run.stop - run.start)


def _random_run(b: bytearray, rng: np.random.Generator) -> None:
    run = _run(len(b), rng)
    b[run] = rng.bytes(run.stop - run.start)


def _swap(b: bytearray, rng: np.random.Generator) -> None:
    first, second = sorted(rng.integers(0, len(b) - 8, 2).tolist())
    size = min(64, second - first, len(b) - second)
    b[first : first + size], b[second : second + size] = b[second : second + size], b[first : first + size]


def _huge_field(b: bytearray, rng: np.random.Generator) -> None:
    at = int(rng.integers(0, min(len(b) - 4, 600)))
    field = (b"\xff\xff\xff\xff", b"\x7f\xff\xff\xff", b"\xff\xff", b"\x00\x00\x7f\xff", struct.pack("<I", 70000))
    value = field[rng.integers(len(field))]
    b[at : at + len(value)] = value


def _spoil_tags(b: bytearray, rng: np.random.Generator) -> None:
    """Random bytes behind what begins an EXIF block, a profile or a directory."""
    marks = [
        at
        for mark in (b"Exif", b"ICC_PROFILE", b"iCCP", b"acsp", b"meta", b"II*\0", b"MM\0*")
        if (at := b.find(mark)) >= 0
    ]
    at = (marks[rng.integers(len(marks))] if marks else 0) + int(rng.integers(4, 200))
    b[at : at + 4] = rng.bytes(min(4, max(0, len(b) - at)))


def _leave_out(b: bytearray, rng: np.random.Generator) -> None:
    del b[_run(len(b), rng)]


def _conftest() -> ModuleType:
    spec = importlib.util.spec_from_file_location("photo_conftest", Path(__file__).with_name("conftest.py"))
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def _read_all(kind: str) -> None:
    from debriscount.errors import PhotoFileError
    from debriscount.photo.read import read_photo

    wholes = whole_files(kind)
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "a.jpg"
        for whole in wholes:
            file.write_bytes(whole)
            assert read_photo(file).pixels.shape in ((72, 96, 3), (96, 72, 3))
        for seed in range(VARIANTS):
            sys.stdout.write(f"{seed}\n")
            sys.stdout.flush()
            file.write_bytes(damaged(wholes[seed % len(wholes)], np.random.default_rng(seed)))
            try:
                photo = read_photo(file, most_megapixels=MOST_MEGAPIXELS)
            except PhotoFileError as error:
                assert "\n" not in str(error)
            else:
                assert photo.pixels.dtype == np.uint8 and photo.pixels.shape[2:] == (3,)


def _limit_memory() -> None:
    """A header that makes a decoder ask for more is an error then, and no slow machine."""
    if sys.platform == "linux":
        import resource

        resource.setrlimit(resource.RLIMIT_AS, (MOST_BYTES, MOST_BYTES))


if __name__ == "__main__":
    try:
        _limit_memory()
        _read_all(sys.argv[1])
    except Exception:
        sys.stderr.write(traceback.format_exc())
        sys.exit(1)
