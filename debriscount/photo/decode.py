"""Bytes of a photo file turned into pixels, and what else of the file is kept."""

import threading
import warnings
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import dataclass
from importlib import import_module
from io import BytesIO

import numpy as np
from numpy.typing import NDArray
from PIL import Image, TiffImagePlugin, UnidentifiedImageError

from ..arrays import Floats
from ..errors import PhotoFileError
from ..printable import printable
from .colour import is_grey
from .container import container
from .eight_bit import storage_of
from .exif import camera_settings, orientation
from .heif import heif_colour_warning, heif_turned_deg, open_heif
from .heif_heard import check_all_read, check_heif
from .jpeg import check_scans, jpeg_steps
from .jpeg_decode import decode_jpeg
from .jpeg_shift import block_size, check_shift
from .jpeg_zeroed import check_zeroed
from .limits import check_packed, check_size
from .quiet import quiet_stderr
from .raw import develop
from .settings import UNKNOWN_SETTINGS, CameraSettings
from .stored import filled_warning, stored_pixels, upright
from .webp import webp_size

#: Parts of Pillow that load when asked for; the others are there already.
_LATE = {"WEBP": "WebPImagePlugin", "AVIF": "AvifImagePlugin"}
#: How files begin whose decoders print on stderr what is wrong with them: TIFF, and DNG, which is built like it.
_LOUD = (b"II", b"MM")
#: How far it is turned clockwise by that, degrees; the other orientations are mirrored.
_TURNED_DEG = {3: 180, 6: 90, 8: 270}
#: Pictures of a file that are looked at, to tell whether there is another as large as the one taken.
_LOOKED_AT = 8
_SEVERAL = "it holds several pictures, of which the first was taken; give the others as files of their own"
_ANEW = "Copy it from the camera once more."

#: Held by whoever sends stderr nowhere.
_quiet = threading.Lock()


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Decoded:
    """What a file holds; the fields are those of `Photo`."""

    pixels: NDArray[np.uint8]
    settings: CameraSettings
    turned_deg: int
    jpeg_steps: Floats | None
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
    kind = "photo"
    try:
        with _switches, _stderr_of(content):
            kind = container(content)
            return _developed(content, most_megapixels) if kind == "DNG" else _opened(content, kind, most_megapixels)
    except PhotoFileError:
        raise
    except UnidentifiedImageError:
        raise PhotoFileError(f"is a damaged {kind}, or one of a sort that cannot be read here. {_ANEW}") from None
    except MemoryError:
        raise PhotoFileError(f"is damaged, or takes more memory than there is. {_ANEW}") from None
    except Exception as error:  # damaged files make decoders raise whatever they stumble over
        raise PhotoFileError(f"is damaged or cut off ({_reason(error)}). {_ANEW}") from None


def settings_told(content: bytes) -> CameraSettings:
    """Return how a photo was taken, as far as its file tells, without decoding its pixels.

    Parameters
    ----------
    content : bytes
        The file.

    Raises
    ------
    PhotoFileError
        It is no photo; the message does not name the file. What is damaged otherwise tells nothing.
    """
    kind = container(content)
    with _switches, _stderr_of(content), suppress(Exception):
        if kind != "DNG":
            with _picture(content, kind) as image:
                return _told(image)[0]
        exif = Image.Exif()
        exif.load_from_fp(BytesIO(content))
        return camera_settings(exif)
    return UNKNOWN_SETTINGS


def _reason(error: Exception) -> str:
    """What an error says, on one line."""
    said = error.args[0] if error.args else ""
    text = said.decode(errors="replace") if isinstance(said, bytes) else str(error)
    return printable(" ".join(text.split())) or type(error).__name__


class _Switches:
    """Switches of the whole process: the first of several threads turns them, the last turns them back.

    They lift Pillow's limit of pixels, since ours is told in its place, and hold its warnings back. TIFF goes through
    libtiff, for Pillow itself takes channels of 16 bits that are stored one after the other for channels of 8.
    """

    def __init__(self) -> None:
        self._lock, self._threads, self._before = threading.Lock(), 0, ExitStack()

    def __enter__(self) -> None:
        with self._lock:
            if self._threads == 0:
                limit, libtiff = Image.MAX_IMAGE_PIXELS, TiffImagePlugin.READ_LIBTIFF
                self._before.enter_context(warnings.catch_warnings())
                self._before.callback(self._turn, limit, libtiff)
                warnings.simplefilter("ignore")
                self._turn(None, True)
            self._threads += 1

    def __exit__(self, *_: object) -> None:
        with self._lock:
            self._threads -= 1
            if self._threads == 0:
                self._before.close()

    def _turn(self, limit: int | None, libtiff: bool) -> None:
        Image.MAX_IMAGE_PIXELS, TiffImagePlugin.READ_LIBTIFF = limit, libtiff


_switches = _Switches()


@contextmanager
def _stderr_of(content: bytes) -> Iterator[None]:
    """Keep stderr clean where a decoder prints on it, one thread at a time."""
    if content[:2] not in _LOUD:
        yield
        return
    with _quiet, quiet_stderr():
        yield


def _opened(content: bytes, kind: str, most_megapixels: float) -> Decoded:
    if kind == "JPEG":
        check_scans(content)
        check_zeroed(content)
    if kind == "WEBP" and (size := webp_size(content)) != (0, 0):
        check_size(*size, most_megapixels)
        check_packed(*size, len(content))
    with _picture(content, kind) as image:
        check_size(*image.size, most_megapixels)
        check_packed(*image.size, len(content))
        told_before = _told(image) if kind == "TIFF" else None
        if kind == "JPEG":
            stored = stored_pixels(_heard(content, image), storage_of(image), image.info.get("icc_profile"))
        else:
            image.load()
            check_size(*image.size, most_megapixels)  # a HEIF's true size may come to light only now
            if kind == "HEIF":
                check_heif(content)
                check_all_read(np.asarray(image if image.mode == "RGB" else image.convert("RGB")))
            stored = stored_pixels(image, storage_of(image), image.info.get("icc_profile"))
        # TIFF and HEIF are upright once loaded, and no longer say otherwise.
        settings, left = _told(image)
        settings, orientation_stored = told_before or (settings, left)
        doubts = (
            stored.profile_warning,
            filled_warning(stored.pixels),
            heif_colour_warning(image.info) if kind == "HEIF" else "",
            _SEVERAL if _holds_another(image) else "",
        )
        return Decoded(
            pixels=upright(stored.pixels, left),
            settings=settings,
            turned_deg=heif_turned_deg(content) if kind == "HEIF" else _TURNED_DEG.get(orientation_stored, 0),
            jpeg_steps=jpeg_steps(image) if kind == "JPEG" else None,
            grey=stored.grey,
            warnings=tuple(filter(None, doubts)),
        )


def _heard(content: bytes, image: Image.Image) -> Image.Image | NDArray[np.uint8]:
    """A JPEG's pixels by the decoder that says what is wrong with them; those of four inks by Pillow all the same."""
    pixels = decode_jpeg(content, {"L": "GRAY", "RGB": "RGB"}.get(image.mode, "CMYK"))
    if image.mode not in ("L", "RGB"):
        image.load()
        return image
    if image.mode == "L":
        pixels = pixels[..., 0]
    steps = jpeg_steps(image)
    # The first coefficient of a block is eight times its mean.
    rounding = (0.0,) if steps is None else (steps[:, 0, 0] / 8).tolist()
    check_shift(pixels, block_size(image.layer), rounding)  # type: ignore[attr-defined]
    return pixels


def _developed(content: bytes, most_megapixels: float) -> Decoded:
    pixels = develop(content, lambda width, height: check_size(width, height, most_megapixels))
    check_size(pixels.shape[1], pixels.shape[0], most_megapixels)
    exif = Image.Exif()
    with suppress(Exception):
        exif.load_from_fp(BytesIO(content))
    turned_deg = _TURNED_DEG.get(orientation(exif), 0)
    return Decoded(
        pixels=pixels,
        settings=camera_settings(exif),
        turned_deg=turned_deg,
        jpeg_steps=None,
        grey=is_grey(pixels),
        warnings=(),
    )


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
