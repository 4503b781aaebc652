import io
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image

from debriscount.errors import PhotoFileError
from debriscount.photo.jpeg_zeroed import check_zeroed

Picture = Callable[..., NDArray[np.uint8]]
ROOT = Path(__file__).parents[2]


def jpeg(pixels: NDArray[np.uint8], **options: Any) -> bytes:
    file = io.BytesIO()
    Image.fromarray(pixels).save(file, "JPEG", quality=92, **options)
    return file.getvalue()


@pytest.mark.parametrize("options", [{}, {"restart_marker_rows": 1}, {"subsampling": 0}])
def test_zeroed_data_are_refused_wherever_they_are(picture: Picture, options: dict[str, int]) -> None:
    whole = jpeg(picture(480, 320), **options)
    check_zeroed(whole)
    start = whole.index(b"\xff\xda") + 14
    for at in range(start, len(whole) - 70, (len(whole) - start) // 20):
        with pytest.raises(PhotoFileError, match=r"cut off \(6\d bytes of its data, from byte \d+ on, are zero\)"):
            check_zeroed(whole[:at] + bytes(64) + whole[at + 64 :])


def test_grey_ones_too(picture: Picture) -> None:
    whole = jpeg(picture(480, 320)[..., 0])
    check_zeroed(whole)
    middle = (whole.index(b"\xff\xda") + len(whole)) // 2
    with pytest.raises(PhotoFileError, match="are zero"):
        check_zeroed(whole[:middle] + bytes(32) + whole[middle + 32 :])


@pytest.mark.parametrize("level", [0, 128, 255])
@pytest.mark.parametrize("options", [{}, {"optimize": True}, {"progressive": True}, {"restart_marker_blocks": 3}])
def test_zeros_that_a_flat_picture_is_coded_by_are_none(level: int, options: dict[str, Any]) -> None:
    check_zeroed(jpeg(np.full((640, 960, 3), level, np.uint8), **options))


def test_filling_before_the_end_and_data_behind_it_are_none(picture: Picture) -> None:
    whole = jpeg(picture())
    check_zeroed(whole[:-2] + bytes(500) + whole[-2:])
    check_zeroed(whole + bytes(500) + whole)


def test_what_is_no_whole_header_is_left_to_the_decoder(picture: Picture) -> None:
    whole = jpeg(picture())
    for end in range(0, whole.index(b"\xff\xda") + 14, 7):
        check_zeroed(whole[:end] + bytes(8))


def test_no_shipped_photo_is_taken_for_damaged() -> None:
    photos = sorted((ROOT / "reference_images").rglob("*.jpg"))
    assert photos
    for photo in photos:
        check_zeroed(photo.read_bytes())
