"""Bytes of a photo file turned into pixels, and what else of the file is kept."""

import threading
import warnings
from collections.abc import Iterator
from contextlib import contextmanager, nullcontext, suppress
from dataclasses import dataclass
from importlib import import_module
from io import BytesIO

import numpy as np
from numpy.typing import NDArray
from PIL import Image, TiffImagePlugin, UnidentifiedImageError

from ..errors import PhotoFileError
from .container import container
from .eight_bit import eight_bit
from .exif import camera_settings, orientation
from .files import printable
from .grey import is_grey
from .heif import heif_colour_warning, heif_turned_deg, open_heif
from .jpeg import check_scans, jpeg_steps
from .limits import check_size
from .profile import to_srgb
from .quiet import quiet_stderr
from .raw import develop
from .settings import CameraSettings

#: Parts of Pillow that load when asked for; the others are there already.
_LATE = {"WEBP": "WebPImagePlugin", "AVIF": "AvifImagePlugin"}
#: Kinds whose decoders print on stderr what is wrong with a file.
_LOUD = ("TIFF", "DNG")
#: What makes a picture upright, by EXIF orientation.
_UPRIGHT = {
    2: Image.Transpose.FLIP_LEFT_RIGHT,
    3: Image.Transpose.ROTATE_180,
    4: Image.Transpose.FLIP_TOP_BOTTOM,
    5: Image.Transpose.TRANSPOSE,
    6: Image.Transpose.ROTATE_270,
    7: Image.Transpose.TRANSVERSE,
    8: Image.Transpose.ROTATE_90,
}
#: How far it is turned clockwise by that, degrees; the other orientations are mirrored.
_TURNED_DEG = {3: 180, 6: 90, 8: 270}
#: Pictures of a file that are looked at, to tell whether there is another as large as the one taken.
_LOOKED_AT = 8
_SEVERAL = "it holds several pictures, of which the first was taken; give the others as files of their own"
_ANEW = "Copy it from the camera once more."

_pillow_settings = threading.Lock()


@dataclass(frozen=True, slots=True, eq=False)
class Decoded:
    """What a file holds; the fields are those of `Photo`."""

    pixels: NDArray[np.uint8]
    settings: CameraSettings
    turned_deg: int
    jpeg_steps: NDArray[np.float64] | None
    grey: bool
    warnings: tuple[str, ...]


def decode(content: bytes, most_megapixels: float) -> Decoded:
    """Decode a photo.

    Parameters
    ----------
    content : bytes
        The file.
    most_megapixels : float
        A larger picture is refused before its pixels are decoded.

    Returns
    -------
    Decoded

    Raises
    ------
    PhotoFileError
        Nothing can be made of it; the message does not name the file.
    """
    try:
        kind = container(content)
        with _own_settings(), quiet_stderr() if kind in _LOUD else nullcontext():
            return _developed(content, most_megapixels) if kind == "DNG" else _opened(content, kind, most_megapixels)
    except PhotoFileError:
        raise
    except UnidentifiedImageError:
        raise PhotoFileError(f"is a damaged {kind}, or one of a sort that cannot be read here. {_ANEW}") from None
    except MemoryError:
        raise PhotoFileError(f"is damaged, or takes more memory than there is. {_ANEW}") from None
    except Exception as error:  # damaged files make decoders raise whatever they stumble over
        raise PhotoFileError(f"is damaged or cut off ({_reason(error)}). {_ANEW}") from None


def _reason(error: Exception) -> str:
    """What an error says, on one line."""
    said = error.args[0] if error.args else ""
    text = said.decode(errors="replace") if isinstance(said, bytes) else str(error)
    return printable(" ".join(text.split())) or type(error).__name__


@contextmanager
def _own_settings() -> Iterator[None]:
    """Lift Pillow's limit of pixels, since ours is told in its place, and hold its warnings back.

    TIFF goes through libtiff, for Pillow itself takes channels of 16 bits that are stored one after the other for
    channels of 8. All are switches of the process, hence the lock.
    """
    with _pillow_settings, warnings.catch_warnings():
        warnings.simplefilter("ignore")
        before = Image.MAX_IMAGE_PIXELS, TiffImagePlugin.READ_LIBTIFF
        Image.MAX_IMAGE_PIXELS, TiffImagePlugin.READ_LIBTIFF = None, True
        try:
            yield
        finally:
            Image.MAX_IMAGE_PIXELS, TiffImagePlugin.READ_LIBTIFF = before


def _opened(content: bytes, kind: str, most_megapixels: float) -> Decoded:
    if kind == "JPEG":
        check_scans(content)
    with _picture(content, kind) as image:
        check_size(*image.size, most_megapixels)
        told_before = _told(image) if kind == "TIFF" else None
        image.load()
        check_size(*image.size, most_megapixels)  # a HEIF's true size may come to light only now
        # TIFF and HEIF are upright once loaded, and no longer say otherwise.
        settings, left = _told(image)
        settings, stored = told_before or (settings, left)
        turn = _UPRIGHT.get(left)
        plain = eight_bit(image)
        upright = plain if turn is None else plain.transpose(turn)
        pixels, grey, profile_warning = _in_srgb(upright, image.info.get("icc_profile"))
        doubts = (
            profile_warning,
            heif_colour_warning(image.info) if kind == "HEIF" else "",
            _SEVERAL if _holds_another(image) else "",
        )
        return Decoded(
            pixels,
            settings,
            heif_turned_deg(content) if kind == "HEIF" else _TURNED_DEG.get(stored, 0),
            jpeg_steps(image) if kind == "JPEG" else None,
            grey,
            tuple(filter(None, doubts)),
        )


def _developed(content: bytes, most_megapixels: float) -> Decoded:
    pixels = develop(content, lambda width, height: check_size(width, height, most_megapixels))
    check_size(pixels.shape[1], pixels.shape[0], most_megapixels)
    exif = Image.Exif()
    with suppress(Exception):
        exif.load_from_fp(BytesIO(content))
    turned_deg = _TURNED_DEG.get(orientation(exif), 0)
    return Decoded(pixels, camera_settings(exif), turned_deg, None, is_grey(pixels), ())


def _picture(content: bytes, kind: str) -> Image.Image:
    if kind == "HEIF":
        return open_heif(content)
    if kind in _LATE:
        import_module(f"PIL.{_LATE[kind]}")
    return Image.open(BytesIO(content), formats=(kind,))


def _told(image: Image.Image) -> tuple[CameraSettings, int]:
    """Settings and orientation."""
    exif = Image.Exif()
    with suppress(Exception):  # a spoilt block does not spoil the pixels
        exif = image.getexif()
    return camera_settings(exif), orientation(exif)


def _in_srgb(image: Image.Image, profile: bytes | None) -> tuple[NDArray[np.uint8], bool, str]:
    """Pixels in sRGB, whether the file holds no colour, and a warning or nothing."""
    managed, warning = to_srgb(image, profile) if profile else (image, "")
    pixels = _rgb(managed)
    # Judged by the file's own values: a profile may give its greys a tint.
    grey = image.mode == "L" or is_grey(pixels if managed is image else _rgb(image))
    return pixels, grey, warning


def _rgb(image: Image.Image) -> NDArray[np.uint8]:
    return np.asarray(image if image.mode == "RGB" else image.convert("RGB"))


def _holds_another(image: Image.Image) -> bool:
    """Whether the file holds another picture as large as the one taken; smaller ones are previews or maps of depth."""
    taken, size = image.tell(), image.width * image.height
    with suppress(Exception):  # EOFError after the last; what a damaged one raises is no matter of ours
        for number in range(_LOOKED_AT):
            if number != taken:
                image.seek(number)
                if image.width * image.height >= size:
                    return True
    return False
