"""What the decoder of HEIF photos stumbled over.

libheif hands on what its decoder, libde265, made of damaged data, and drops what that says of it. So the pictures in a
file are given to that decoder once more, and its complaints are read. Of a picture that it takes for done too early it
does not complain, but leaves the rest at zero, which is a green that no camera makes.
"""

import ctypes
from functools import cache
from importlib import import_module

import numpy as np
from numpy.typing import NDArray

from ..errors import PhotoFileError
from .heif_items import coded_pictures

#: It waits for more units, which is how a picture ends.
_WAITS = 13
#: Beside that: nothing wrong, extra messages in the data, and threads (libde265's de265.h).
_NO_COMPLAINT = {0, _WAITS, 5, 14, 1000, 1001, 1022}
_THREADS = 2
#: Side of the least that HEVC codes as one, px (ITU-T H.265, 7.4.3.2.1): what is left out is made of whole ones.
_LEAST_BLOCK = 16
_ANEW = "Copy it from the camera once more."


def check_heif(content: bytes) -> None:
    """Raise PhotoFileError, which does not name the file, where the decoder complains of a HEIF's primary picture.

    Nothing is said where the decoder cannot be reached, and of pictures that are not coded as HEVC.
    """
    decoder = _decoder()
    if decoder is None:
        return
    try:
        pictures = coded_pictures(content)
    except (ValueError, KeyError, IndexError):
        return  # libheif could read it, and is the judge of how a file is built
    for units in pictures:
        complaint = _complaint(decoder, units)
        if complaint:
            raise PhotoFileError(f"is damaged or cut off ({complaint}). {_ANEW}")


def check_all_read(pixels: NDArray[np.uint8]) -> None:
    """Raise PhotoFileError, which does not name the file, where a part of a HEIF was left at zero.

    Parameters
    ----------
    pixels : ndarray of uint8 of shape (H, W, 3)
        RGB as decoded. Luma and both chromas of 0 make red and blue 0, and green what the file's matrix says.
    """
    half, size = _LEAST_BLOCK // 2, _LEAST_BLOCK
    centres = pixels[half::size, half::size]
    green = (centres[..., 0] == 0) & (centres[..., 1] > 0) & (centres[..., 2] == 0)
    for row, column in np.argwhere(green) * size:
        block = pixels[row : row + size, column : column + size]
        if block.shape[:2] == (size, size) and (block == block[0, 0]).all():
            raise PhotoFileError(
                f"is damaged: from row {row}, column {column} on there are {size} x {size} px of one green, which the"
                f" decoder leaves where it could not read on. {_ANEW}"
            )


@cache
def _decoder() -> ctypes.CDLL | None:
    """libde265 as pillow-heif has loaded it, or None."""
    try:
        extension = str(import_module("_pi_heif").__file__)
        library = ctypes.CDLL(extension)  # a name is looked for in all that it needs
        library.de265_new_decoder.restype = ctypes.c_void_p
        library.de265_new_decoder.argtypes = []
        library.de265_get_error_text.restype = ctypes.c_char_p
        library.de265_get_error_text.argtypes = [ctypes.c_int]
        library.de265_get_next_picture.restype = ctypes.c_void_p
        pointer, number = ctypes.c_void_p, ctypes.c_int
        library.de265_push_NAL.argtypes = [pointer, ctypes.c_char_p, number, ctypes.c_int64, pointer]
        library.de265_decode.argtypes = [pointer, ctypes.POINTER(number)]
        library.de265_start_worker_threads.argtypes = [pointer, number]
        for name in ("flush_data", "get_warning", "get_next_picture", "free_decoder"):
            getattr(library, f"de265_{name}").argtypes = [pointer]
    except (ImportError, OSError, AttributeError):
        return None
    return library


def _complaint(library: ctypes.CDLL, units: list[bytes]) -> str:
    """What the decoder says of a picture, or nothing."""
    decoder = library.de265_new_decoder()
    if not decoder:
        return ""
    try:
        library.de265_start_worker_threads(decoder, _THREADS)
        for unit in units:
            library.de265_push_NAL(decoder, unit, len(unit), 0, None)
        library.de265_flush_data(decoder)
        more, codes = ctypes.c_int(1), [0]
        while more.value and _WAITS not in codes:
            codes = [library.de265_decode(decoder, ctypes.byref(more))]
            library.de265_get_next_picture(decoder)  # makes room
            while warning := library.de265_get_warning(decoder):
                codes.append(warning)
            for code in codes:
                if code not in _NO_COMPLAINT:
                    return str(library.de265_get_error_text(code).decode(errors="replace"))
    finally:
        library.de265_free_decoder(decoder)
    return ""
