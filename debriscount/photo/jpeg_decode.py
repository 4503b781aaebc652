"""JPEG pixels by a decoder that says what it stumbled over.

libjpeg mends what is damaged as well as it can, fills what is missing with grey, and merely warns of it; Pillow drops
the warnings. Here every one of them counts, but for those about what stands beside the picture.
"""

import re

import numpy as np
from numpy.typing import NDArray

from ..errors import PhotoFileError

#: Complaints about the profile, which is looked at elsewhere, and about what some cameras write in a scan's header.
_BESIDE = re.compile(r"ICC marker|Invalid SOS parameters")
#: How a file begins that states the version of its header (T.871): of all but the first, libjpeg warns.
_VERSION = re.compile(rb"\A(\xff\xd8\xff\xe0..JFIF\0).", re.DOTALL)
#: Bytes between the picture's end and the marker that ends the file. Zeros are filling, which some cameras write.
_LEFT_OVER = re.compile(r"(\d+) extraneous bytes before marker 0xd9")
_IMAGE_END = b"\xff\xd9"


def decode_jpeg(content: bytes, colours: str) -> NDArray[np.uint8]:
    """Pixels of a JPEG as they are stored.

    Parameters
    ----------
    content : bytes
        The file.
    colours : str
        "RGB", "GRAY", or "CMYK" for a picture of four inks.

    Returns
    -------
    ndarray of uint8 of shape (H, W, channels)

    Raises
    ------
    PhotoFileError
        The decoder complained; the message does not name the file.
    """
    from simplejpeg import decode_jpeg as decode

    content = _VERSION.sub(lambda found: found[1] + b"\x01", content, count=1)
    try:
        return np.asarray(decode(content, colorspace=colours))
    except ValueError as error:
        complaint = " ".join(str(error).split())
    left_over = _LEFT_OVER.search(complaint)
    end = content.rfind(_IMAGE_END)
    if _BESIDE.search(complaint) or (left_over and not any(content[end - int(left_over[1]) : end])):
        return np.asarray(decode(content, colorspace=colours, strict=False))
    raise PhotoFileError(f"is damaged or cut off ({complaint}). Copy it from the camera once more.")
