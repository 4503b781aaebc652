"""Photo files, read into upright 8-bit sRGB."""

import hashlib
from dataclasses import dataclass, replace
from os import PathLike
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..arrays import Floats, Mask
from ..errors import PhotoFileError
from ..printable import printable
from .colour import is_grey
from .decode import decode
from .files import file_bytes
from .limits import LEAST_SIDE_PX, MOST_MEGAPIXELS, most_bytes
from .settings import UNKNOWN_SETTINGS, CameraSettings

__all__ = ["LEAST_SIDE_PX", "Photo", "photo_from_array", "read_photo"]


@dataclass(frozen=True, slots=True, eq=False)
class Photo:
    """One photo as it is measured.

    ``pixels`` is upright sRGB of shape (H, W, 3), read-only; ``name`` the file's name, as it can be printed, or what
    the caller calls an array; ``sha256`` that of the file's bytes in hexadecimal, empty for an array.

    ``turned_deg`` is the clockwise turn, 0, 90, 180 or 270, that made the stored picture upright, 0 for a mirrored one.
    ``jpeg_steps`` of shape (n, 8, 8) are a JPEG's quantisation tables, luma before chroma, rows by vertical frequency;
    None for other formats. ``grey`` says that the photo shows no colour at all. ``warnings`` are what made reading it
    doubtful, one sentence each. ``shows`` of shape (H, W) is False where a photo that was joined of several shows
    nothing; None for one that shows something everywhere.
    """

    pixels: NDArray[np.uint8]
    name: str
    sha256: str = ""
    settings: CameraSettings = UNKNOWN_SETTINGS
    turned_deg: int = 0
    jpeg_steps: Floats | None = None
    grey: bool = False
    warnings: tuple[str, ...] = ()
    shows: Mask | None = None

    def __post_init__(self) -> None:
        """Take a view that cannot be written through."""
        view = self.pixels.view()
        view.flags.writeable = False
        object.__setattr__(self, "pixels", view)

    def without_pixels(self) -> "Photo":
        """The same with no pixels, for what is said of a photo once it was measured: they take most of its memory."""
        return replace(self, pixels=np.empty((0, 0, 3), np.uint8), shows=None)

    @property
    def file(self) -> str:
        """Name of the photo's file, empty for an array."""
        return self.name if self.sha256 else ""


def read_photo(path: str | PathLike[str], *, most_megapixels: float = MOST_MEGAPIXELS) -> Photo:
    """Read a photo file.

    Parameters
    ----------
    path : path-like
        JPEG, HEIC, DNG, PNG, TIFF, WebP, AVIF, BMP or GIF, whatever its name says; of several pictures in a file the
        first counts. DNG needs rawpy, the extra "raw".
    most_megapixels : float
        A larger picture is refused before it is decoded, and so is a file of more bytes than such a picture can take.

    Returns
    -------
    Photo
        Turned upright as the file says, transparency dropped, colours brought from the file's profile to sRGB, 16 bits
        scaled to 8. Of EXIF, `CameraSettings` are all that is kept.

    Raises
    ------
    PhotoFileError
        The file is missing, no file, unreadable, damaged, cut off, no photo, smaller than 64 px on a side or larger
        than the limit; or a DNG, and rawpy is not installed; or the limit is no number above 0.
    """
    path = Path(path)
    try:
        content = file_bytes(path, most_bytes(most_megapixels))
        found = decode(content, most_megapixels)
    except PhotoFileError as error:
        raise PhotoFileError(f"{printable(path)}: {error}") from None
    return Photo(
        found.pixels,
        printable(path.name),
        hashlib.sha256(content).hexdigest(),
        found.settings,
        found.turned_deg,
        found.jpeg_steps,
        found.grey,
        found.warnings,
    )


def photo_from_array(pixels: NDArray[Any], name: str) -> Photo:
    """Take an array for a photo.

    Parameters
    ----------
    pixels : ndarray of uint8 of shape (H, W, 3)
        Upright sRGB, each side 64 px or more.
    name : str
        What messages call it, such as "before".

    Returns
    -------
    Photo

    Raises
    ------
    ValueError
        The array has another shape or type.
    """
    if pixels.dtype != np.uint8 or pixels.ndim != 3 or pixels.shape[2] != 3:
        raise ValueError(
            f"{name} must be an array of uint8 of shape (H, W, 3), got {pixels.dtype} of shape {pixels.shape}"
        )
    if min(pixels.shape[:2]) < LEAST_SIDE_PX:
        raise ValueError(f"{name} must be at least {LEAST_SIDE_PX} px on each side, got shape {pixels.shape}")
    return Photo(np.ascontiguousarray(pixels), name, grey=is_grey(pixels))
