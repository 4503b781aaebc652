import io
import struct
from pathlib import Path
from typing import Any

import pytest
from PIL import Image

from debriscount.errors import PhotoFileError
from debriscount.photo.read import read_photo
from debriscount.photo.webp import webp_size


def webp(**options: Any) -> bytes:
    file = io.BytesIO()
    Image.new("RGB", (300, 70)).save(file, "WEBP", **options)
    return file.getvalue()


@pytest.mark.parametrize("options", [{}, {"lossless": True}, {"exif": b"Exif\0\0II*\0\x08\0\0\0\0\0\0\0"}])
def test_the_header_tells_the_size(options: dict[str, Any]) -> None:
    assert webp_size(webp(**options)) == (300, 70)
    assert webp_size(b"RIFF....WEBP") == (0, 0)


def test_a_few_bytes_are_refused_before_they_take_memory(tmp_path: Path) -> None:
    content = bytearray(webp(lossless=True))
    for side, message in ((9000, "px in .* bytes, too few"), (16383, "more than 120 megapixels")):
        content[21:25] = struct.pack("<I", (side - 1) | (side - 1) << 14)
        (tmp_path / "a.webp").write_bytes(content)
        with pytest.raises(PhotoFileError, match=message):
            read_photo(tmp_path / "a.webp")
