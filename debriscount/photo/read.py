"""Photo files, read into upright 8-bit sRGB."""

import hashlib
import threading
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from io import BytesIO
from os import PathLike
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import ExifTags, Image, UnidentifiedImageError

from ..errors import PhotoFileError

#: Phones reach 200 megapixels; above 300 a file is a mistake or a trap, and decoding it takes gigabytes.
MOST_PIXELS = 300_000_000
#: Below this no marker of four by four cells can be read.
LEAST_SIDE_PX = 64

# Named, since others that Pillow knows start foreign programs or are no photos.
_FORMATS = ("JPEG", "PNG", "TIFF", "WEBP", "BMP", "GIF")
_FORMATS_TEXT = "JPEG, PNG, TIFF, WebP, BMP or GIF"
_HEIF_BRANDS = (b"heic", b"heix", b"heim", b"hevc", b"mif1", b"msf1", b"avif", b"avis")

_UPRIGHT = {
    2: Image.Transpose.FLIP_LEFT_RIGHT,
    3: Image.Transpose.ROTATE_180,
    4: Image.Transpose.FLIP_TOP_BOTTOM,
    5: Image.Transpose.TRANSPOSE,
    6: Image.Transpose.ROTATE_270,
    7: Image.Transpose.TRANSVERSE,
    8: Image.Transpose.ROTATE_90,
}

_pillow_settings = threading.Lock()


@dataclass(frozen=True, slots=True, eq=False)
class Photo:
    """One photo as it is measured.

    ``pixels`` is upright sRGB of shape (H, W, 3), read-only; ``name`` the file's name, or what the
    caller calls an array; ``sha256`` that of the file's bytes in hexadecimal, empty for an array.
    """

    pixels: NDArray[np.uint8]
    name: str
    sha256: str = ""

    def __post_init__(self) -> None:
        """Take a view that cannot be written through."""
        view = self.pixels.view()
        view.flags.writeable = False
        object.__setattr__(self, "pixels", view)

    @property
    def file(self) -> str:
        """Name of the photo's file, empty for an array."""
        return self.name if self.sha256 else ""


def read_photo(path: str | PathLike[str]) -> Photo:
    """Read a photo file.

    Parameters
    ----------
    path : path-like
        JPEG, PNG, TIFF, WebP, BMP or GIF; of several pictures in a file the first counts.

    Returns
    -------
    Photo
        Turned upright as its EXIF orientation says, transparency dropped, 16 bits scaled to 8.

    Raises
    ------
    PhotoFileError
        The file is missing, unreadable, damaged, cut off, no photo, smaller than 64 px on a side or
        larger than 300 megapixels.
    """
    path = Path(path)
    content = _file_bytes(path)
    try:
        pixels = _decode(content, path)
    except (PhotoFileError, MemoryError):
        raise
    except UnidentifiedImageError:
        raise PhotoFileError(_not_a_photo(content, path)) from None
    except Exception as error:  # damaged files make Pillow raise whatever its decoders stumble over
        reason = " ".join(str(error).split()) or type(error).__name__
        raise PhotoFileError(f"{path}: is damaged or cut off ({reason}). Copy it from the camera once more.") from None
    return Photo(pixels, path.name, hashlib.sha256(content).hexdigest())


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
    return Photo(np.ascontiguousarray(pixels), name)


def _file_bytes(path: Path) -> bytes:
    try:
        content = path.read_bytes()
    except FileNotFoundError:
        raise PhotoFileError(f"{path}: there is no such file. Give the path of a photo.") from None
    except IsADirectoryError:
        raise PhotoFileError(f"{path}: is a folder. Give the path of a photo in it.") from None
    except OSError as error:
        raise PhotoFileError(f"{path}: cannot be read ({error.strerror}). Check the file's rights.") from None
    if not content:
        raise PhotoFileError(f"{path}: is empty. Copy it from the camera once more.")
    return content


def _not_a_photo(content: bytes, path: Path) -> str:
    if content[4:8] == b"ftyp" and content[8:12] in _HEIF_BRANDS:
        return f"{path}: is HEIF or AVIF, which cannot be read here. Export it as JPEG at best quality."
    return f"{path}: is no photo that can be read. Give {_FORMATS_TEXT}."


def _decode(content: bytes, path: Path) -> NDArray[np.uint8]:
    with _open(content) as image:
        width, height = image.size
        if width * height > MOST_PIXELS:
            raise PhotoFileError(
                f"{path}: has {width} x {height} px, more than {MOST_PIXELS // 1_000_000} megapixels."
                " Give the photo as the camera made it."
            )
        if min(width, height) < LEAST_SIDE_PX:
            raise PhotoFileError(
                f"{path}: has only {width} x {height} px, less than {LEAST_SIDE_PX} on a side."
                " Give the photo itself, not a thumbnail."
            )
        turn = _UPRIGHT.get(_orientation(image))
        image.load()
        upright = image if turn is None else image.transpose(turn)
        return _as_rgb8(upright, path)


@contextmanager
def _open(content: bytes) -> Iterator[Image.Image]:
    """Open with our own limit of pixels, quietly; both are switches of Pillow as a whole, hence the lock."""
    with _pillow_settings, warnings.catch_warnings():
        warnings.simplefilter("ignore")
        pillow_limit, Image.MAX_IMAGE_PIXELS = Image.MAX_IMAGE_PIXELS, None
        try:
            with Image.open(BytesIO(content), formats=_FORMATS) as image:
                yield image
        finally:
            Image.MAX_IMAGE_PIXELS = pillow_limit


def _orientation(image: Image.Image) -> int:
    try:
        return int(image.getexif().get(ExifTags.Base.Orientation, 1))
    except Exception:  # a spoilt EXIF block does not spoil the pixels, and markers are found either way up
        return 1


def _as_rgb8(image: Image.Image, path: Path) -> NDArray[np.uint8]:
    if image.mode == "F" or image.mode.startswith("I"):
        grey = np.asarray(image)
        if image.mode == "F" or grey.min() < 0 or grey.max() > 65535:
            raise PhotoFileError(f"{path}: has more than 16 bits a pixel. Export it as JPEG at best quality.")
        # 65535 / 255 = 257, so that white stays white.
        grey8 = ((grey.astype(np.uint32) + 128) // 257).astype(np.uint8)
        return np.repeat(grey8[:, :, None], 3, axis=2)
    if image.mode == "P":  # straight to RGB a palette with transparency warns
        image = image.convert("RGBA")
    return np.asarray(image if image.mode == "RGB" else image.convert("RGB"))
