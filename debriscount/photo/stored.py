"""Pictures as they are stored in their files, brought to sRGB and turned upright."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from .colour import is_grey
from .eight_bit import Storage, eight_bit
from .profile import to_srgb

#: Rows at a time, so that no second whole picture is needed for what is converted on the way.
_ROWS = 256
#: Rows of one grey at the foot that tell of filling: those of one block of a JPEG (ITU-T T.81).
_FILLED_ROWS = 8


@dataclass(frozen=True, slots=True, eq=False)
class StoredPixels:
    """sRGB of shape (H, W, 3) as stored; whether the file holds no colour; and a warning about its profile, or ""."""

    pixels: NDArray[np.uint8]
    grey: bool
    profile_warning: str


def stored_pixels(picture: Image.Image | NDArray[np.uint8], storage: Storage, profile: bytes | None) -> StoredPixels:
    """Bring a picture to sRGB of eight bits, strip by strip.

    Parameters
    ----------
    picture : Image or ndarray of uint8 of shape (H, W) or (H, W, 3)
        Loaded.
    storage : Storage
        How the file means its values.
    profile : bytes or None
        The file's colour profile.

    Returns
    -------
    StoredPixels
    """
    if isinstance(picture, np.ndarray):
        height, width = picture.shape[:2]
        grey = True if picture.ndim == 2 else is_grey(picture)
        if not profile and picture.ndim == 3:
            return StoredPixels(picture, grey, "")
    else:
        width, height = picture.size
        grey = True
    pixels, warning = np.empty((height, width, 3), np.uint8), ""
    for top, strip in _strips(picture, width, height):
        plain = eight_bit(strip, storage)
        managed, warning = to_srgb(plain, profile) if profile else (plain, "")
        into = pixels[top : top + _ROWS]
        into[:] = _rgb(managed)
        # Judged by the file's own values: a profile may give its greys a tint.
        grey = grey and (plain.mode == "L" or is_grey(into if managed is plain else _rgb(plain)))
    return StoredPixels(pixels, grey, warning)


def upright(pixels: NDArray[np.uint8], orientation: int) -> NDArray[np.uint8]:
    """Turn pixels of shape (H, W, 3) as an EXIF orientation, 1 to 8, says [CIPA DC-008, tag 0x0112]."""
    turned = pixels.transpose(1, 0, 2) if orientation >= 5 else pixels
    rows = -1 if orientation in (3, 4, 7, 8) else 1
    columns = -1 if orientation in (2, 3, 6, 7) else 1
    return np.ascontiguousarray(turned[::rows, ::columns])


def filled_warning(pixels: NDArray[np.uint8]) -> str:
    """Return a sentence if the last rows of a picture as stored are one grey, as decoders fill what is cut off.

    Black and white do not count, for which a photo may have reasons of its own.
    """
    last = int(pixels[-1, 0, 0])
    if last in (0, 255):
        return ""
    rows = 0
    for row in pixels[::-1]:
        if not (row == last).all():
            break
        rows += 1
    if not _FILLED_ROWS <= rows < len(pixels):
        return ""
    return (
        f"its last {rows} rows are all one grey, as if the photo had been cut off and filled up; copy it from the "
        "camera once more"
    )


def _strips(picture: Image.Image | NDArray[np.uint8], width: int, height: int) -> Iterator[tuple[int, Image.Image]]:
    for top in range(0, height, _ROWS):
        bottom = min(top + _ROWS, height)
        if isinstance(picture, np.ndarray):
            yield top, Image.fromarray(picture[top:bottom])
        else:
            yield top, picture.crop((0, top, width, bottom))


def _rgb(image: Image.Image) -> NDArray[np.uint8]:
    return np.asarray(image if image.mode == "RGB" else image.convert("RGB"))
