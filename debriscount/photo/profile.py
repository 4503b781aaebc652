"""Embedded colour profiles (ICC.1:2010) brought to sRGB."""

from functools import lru_cache
from io import BytesIO
from typing import TYPE_CHECKING

import numpy as np
from PIL import Image

if TYPE_CHECKING:
    from PIL import ImageCms

#: Colour space of a profile's device side, by the mode of the pictures that it is for.
_SPACES = {"RGB": "RGB", "L": "GRAY", "CMYK": "CMYK"}
#: Steps of 255 a channel by which a profile may differ from sRGB and still be it: sRGB profiles of different makers
#: differ by one, from rounding their curves.
_SAME = 1
_DAMAGED = "its colour profile is damaged and was ignored; if the colours look wrong, export the photo as sRGB"
_STRANGE = (
    "its colour profile is made for other pixels and was ignored; if the colours look wrong, export the photo as sRGB"
)


def to_srgb(image: Image.Image, profile: bytes) -> tuple[Image.Image, str]:
    """Bring a picture from its profile's colours to sRGB, relative colorimetric.

    Parameters
    ----------
    image : Image
        Of mode "L", "RGB" or "CMYK".
    profile : bytes
        The ICC profile.

    Returns
    -------
    (Image, str)
        The picture, as it was if the profile is sRGB's or cannot be used; and in the latter case a warning.
    """
    try:
        transform, warning = _transform(profile, image.mode)
        if transform is None:
            return image, warning
        return transform.apply(image), ""
    except Exception:  # the parts of a damaged profile are looked at one after the other, and each may fail
        return image, _DAMAGED


@lru_cache(maxsize=8)  # all shots of a run, and all photos of a phone, carry the same profile
def _transform(profile: bytes, mode: str) -> "tuple[ImageCms.ImageCmsTransform | None, str]":
    """The way to sRGB; None if there is none to go."""
    from PIL import ImageCms

    own = ImageCms.ImageCmsProfile(BytesIO(profile))
    if own.profile.xcolor_space.strip() != _SPACES[mode]:
        return None, _STRANGE
    transform = ImageCms.buildTransform(
        own,
        ImageCms.createProfile("sRGB"),
        mode,
        "RGB",
        renderingIntent=ImageCms.Intent.RELATIVE_COLORIMETRIC,
    )
    return (None if _changes_nothing(transform, mode) else transform), ""


def _changes_nothing(transform: "ImageCms.ImageCmsTransform", mode: str) -> bool:
    """Whether colours from all over the cube, or all greys, come out as they go in."""
    if mode == "CMYK":
        return False
    levels = np.arange(0, 256, 15 if mode == "RGB" else 1, dtype=np.uint8)
    if mode == "RGB":
        colours = np.stack(np.meshgrid(levels, levels, levels), axis=-1).reshape(1, -1, 3)
    else:
        colours = levels[None]
    table = Image.fromarray(colours)
    after = np.asarray(transform.apply(table), np.int16)
    return bool(np.abs(after - np.asarray(table.convert("RGB"), np.int16)).max() <= _SAME)
