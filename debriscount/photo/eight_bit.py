"""Pictures of every kind of pixel, as grey, RGB or CMYK of eight bits a channel."""

import numpy as np
from PIL import Image, ImageChops

from ..errors import PhotoFileError

# TIFF, revision 6.0.
_PHOTOMETRIC = 262
_WHITE_IS_ZERO = 0


def eight_bit(image: Image.Image) -> Image.Image:
    """Return a loaded picture in mode "L", "RGB" or "CMYK", transparency dropped, not blended.

    Raises
    ------
    PhotoFileError
        It has more than 16 bits a channel; the message does not name the file.
    """
    if image.mode == "F" or image.mode.startswith("I"):
        return _from_sixteen_bits(image)
    if image.mode == "CMYK":
        # Pillow takes every JPEG of four inks for one of those that store them inverted, which mark themselves.
        return ImageChops.invert(image) if image.format == "JPEG" and "adobe" not in image.info else image
    if image.mode in ("L", "RGB"):
        return image
    if image.mode in ("1", "LA"):
        return image.convert("L")
    if image.mode in ("P", "PA"):  # straight to RGB a palette with transparency warns
        image = image.convert("RGBA")
    return image.convert("RGB")


def _from_sixteen_bits(image: Image.Image) -> Image.Image:
    """Eight bits of sixteen: 65535 / 255 = 257, so that white stays white."""
    grey = np.asarray(image)
    if image.mode == "F" or grey.min() < 0 or grey.max() > 65535:
        raise PhotoFileError("has more than 16 bits a pixel. Export it as JPEG at best quality.")
    grey8 = ((grey.astype(np.uint32) + 128) // 257).astype(np.uint8)
    # Which Pillow heeds up to eight bits only.
    white_is_zero = getattr(image, "tag_v2", {}).get(_PHOTOMETRIC) == _WHITE_IS_ZERO
    return Image.fromarray(255 - grey8 if white_is_zero else grey8)
