"""Pictures of every kind of pixel, as grey, RGB or CMYK of eight bits a channel."""

from dataclasses import dataclass

import numpy as np
from PIL import Image, ImageChops

from ..errors import PhotoFileError

# TIFF, revision 6.0.
_PHOTOMETRIC, _SAMPLE_FORMAT = 262, 339
_WHITE_IS_ZERO = 0
_SIGNED = 2


@dataclass(frozen=True, slots=True)
class Storage:
    """How a file means its values, as far as Pillow does not heed it.

    ``white_is_zero`` counts for 16 bits alone; ``signed`` says that values of 8 bits have a sign; ``inks_inverted``
    that Pillow turned four inks round which the file does not store so.
    """

    white_is_zero: bool = False
    signed: bool = False
    inks_inverted: bool = False


def storage_of(image: Image.Image) -> Storage:
    """Return how an opened file means its values."""
    tags = getattr(image, "tag_v2", {})
    return Storage(
        tags.get(_PHOTOMETRIC) == _WHITE_IS_ZERO,
        _SIGNED in np.atleast_1d(tags.get(_SAMPLE_FORMAT, 1)),
        # Pillow takes every JPEG of four inks for one of those that store them inverted, which mark themselves.
        image.format == "JPEG" and "adobe" not in image.info,
    )


def eight_bit(image: Image.Image, storage: Storage) -> Image.Image:
    """Return a loaded picture, or part of one, in mode "L", "RGB" or "CMYK", transparency dropped, not blended.

    Raises
    ------
    PhotoFileError
        It has more than 16 bits a channel, or values below 0; the message does not name the file.
    """
    if image.mode == "F" or image.mode.startswith("I"):
        return _from_sixteen_bits(image, storage)
    if image.mode == "CMYK":
        return ImageChops.invert(image) if storage.inks_inverted else image
    if image.mode in ("L", "RGB"):
        if storage.signed and np.asarray(image).max() > 127:
            raise PhotoFileError("has values below 0, as no photo has. Export it as JPEG at best quality.")
        return image
    if image.mode in ("1", "LA"):
        return image.convert("L")
    if image.mode in ("P", "PA"):  # straight to RGB a palette with transparency warns
        image = image.convert("RGBA")
    return image.convert("RGB")


def _from_sixteen_bits(image: Image.Image, storage: Storage) -> Image.Image:
    """Eight bits of sixteen: 65535 / 255 = 257, so that white stays white."""
    grey = np.asarray(image)
    if image.mode == "F" or grey.min() < 0 or grey.max() > 65535:
        raise PhotoFileError("has more than 16 bits a pixel. Export it as JPEG at best quality.")
    grey8 = ((grey.astype(np.uint32) + 128) // 257).astype(np.uint8)
    # Which Pillow heeds up to eight bits only.
    return Image.fromarray(255 - grey8 if storage.white_is_zero else grey8)
