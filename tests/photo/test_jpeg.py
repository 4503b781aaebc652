import io
import struct
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image

from debriscount.errors import PhotoFileError
from debriscount.photo.jpeg import MOST_SCANS
from debriscount.photo.read import Photo, read_photo

Picture = Callable[..., NDArray[np.uint8]]

# Published: ITU-T T.81 (09/92), Annex K, tables K.1 (luminance) and K.2 (chrominance). libjpeg's quality 50 is they.
ANNEX_K = Path(__file__).parents[1] / "data" / "itu_t81_annex_k.csv"
LUMA, CHROMA = np.loadtxt(ANNEX_K, delimiter=",").reshape(2, 8, 8).tolist()


def read(folder: Path, content: bytes) -> Photo:
    (folder / "a.jpg").write_bytes(content)
    return read_photo(folder / "a.jpg")


def jpeg(image: Image.Image, **options: Any) -> bytes:
    file = io.BytesIO()
    image.save(file, "JPEG", **options)
    return file.getvalue()


@pytest.mark.parametrize("progressive", [False, True])
def test_the_steps_of_quality_50_are_the_standards_own(tmp_path: Path, picture: Picture, progressive: bool) -> None:
    photo = read(tmp_path, jpeg(Image.fromarray(picture()), quality=50, progressive=progressive))
    np.testing.assert_array_equal(photo.jpeg_steps, [LUMA, CHROMA])


def test_rows_stand_for_vertical_frequency(tmp_path: Path, picture: Picture) -> None:
    table = np.arange(1, 65)  # told to the encoder in natural order
    photo = read(tmp_path, jpeg(Image.fromarray(picture()), qtables=[table.tolist()]))
    assert photo.jpeg_steps is not None
    np.testing.assert_array_equal(photo.jpeg_steps, [table.reshape(8, 8)] * 2)


def test_a_grey_jpeg_has_the_table_of_luma_alone(tmp_path: Path, picture: Picture) -> None:
    photo = read(tmp_path, jpeg(Image.fromarray(picture()).convert("L"), quality=50))
    np.testing.assert_array_equal(photo.jpeg_steps, [LUMA])
    assert photo.grey


def test_channels_that_are_no_luma_and_chroma_have_no_steps(tmp_path: Path, picture: Picture) -> None:
    photo = read(tmp_path, jpeg(Image.fromarray(picture()), quality=95, keep_rgb=True))
    np.testing.assert_allclose(photo.pixels.astype(int), picture(), atol=6)
    assert photo.jpeg_steps is None


def scans(content: bytes, number: int) -> bytes:
    """A JPEG whose first scan comes again and again."""
    start = content.index(b"\xff\xda")
    end = content.rindex(b"\xff\xd9")
    return content[:start] + content[start:end] * number + b"\xff\xd9"


def test_a_jpeg_that_would_take_hours_is_refused(tmp_path: Path, picture: Picture) -> None:
    content = jpeg(Image.fromarray(picture()).convert("L"), progressive=True)
    with pytest.raises(PhotoFileError, match=r"a\.jpg: has more than 100 scans, which no camera writes\. Give the"):
        read(tmp_path, scans(content, MOST_SCANS))


@pytest.mark.parametrize("where", ["in a segment", "behind the picture"])
def test_what_looks_like_scans_elsewhere_does_not_count(tmp_path: Path, picture: Picture, where: str) -> None:
    content = jpeg(Image.fromarray(picture()), quality=95)
    other = b"\xff\xda\0\x08" * (3 * MOST_SCANS)  # depth, a gain map or the film of a moving photo
    if where == "in a segment":
        content = content[:2] + b"\xff\xec" + struct.pack(">H", len(other) + 2) + other + content[2:]
    else:
        content += other
    np.testing.assert_allclose(read(tmp_path, content).pixels.astype(int), picture(), atol=12)
