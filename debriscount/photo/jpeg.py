"""What a JPEG tells of its own making (ITU-T T.81)."""

import re
from typing import Any

import numpy as np

from ..arrays import Floats
from ..errors import PhotoFileError

#: A scan refines the whole picture, so decoding takes time for each, however few bytes it has. Encoders write about
#: ten (common practice, no source).
MOST_SCANS = 100

_SCAN = b"\xff\xda"
#: A marker inside the coded data: neither a stuffed zero, nor a restart, nor filling (B.1.1).
_MARKER = re.compile(rb"\xff[^\x00\xff\xd0-\xd7]")
_IMAGE_END = 0xD9
_WITHOUT_LENGTH = (0x01, 0xD8)


def jpeg_steps(image: Any) -> Floats | None:
    """Quantisation tables of an opened JPEG.

    Parameters
    ----------
    image : JpegImageFile
        As Pillow opened it.

    Returns
    -------
    ndarray of float64 of shape (n, 8, 8), or None
        Rows of increasing vertical, columns of increasing horizontal frequency; luma, and chroma where there is any.
        None where the channels are no luma and chroma, or tables are missing.
    """
    components = [table for _, _, _, table in image.layer]
    if len(components) not in (1, 3) or (len(components) == 3 and image.info.get("adobe_transform", 1) == 0):
        return None
    tables = [image.quantization.get(table, ()) for table in components[:2]]
    if any(len(table) != 64 for table in tables):
        return None
    return np.array(tables, np.float64).reshape(-1, 8, 8)


def check_scans(content: bytes) -> None:
    """Raise PhotoFileError, which does not name the file, for a JPEG whose scans would take hours to decode."""
    if content.count(_SCAN) <= MOST_SCANS:  # which it hardly ever passes, and only by other data in the file
        return
    if _scans(content) > MOST_SCANS:
        raise PhotoFileError(
            f"has more than {MOST_SCANS} scans, which no camera writes. Give the photo as the camera made it."
        )


def _scans(content: bytes) -> int:
    """Scans up to the end of the picture, counted no further than one beyond `MOST_SCANS`."""
    scans = position = 0
    while scans <= MOST_SCANS and (found := _MARKER.search(content, position)):
        position, marker = found.end(), found[0][1]
        if marker == _IMAGE_END:
            break
        if marker not in _WITHOUT_LENGTH:
            position += int.from_bytes(content[position : position + 2], "big")
        scans += marker == _SCAN[1]
    return scans
