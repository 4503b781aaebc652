"""HEIF photos, as most phones write them."""

import re
from collections.abc import Mapping
from io import BytesIO
from typing import Any

from PIL import Image

#: Box of 9 bytes that turns a picture, by quarters of a turn anticlockwise; and the one that mirrors it
#: (ISO/IEC 23008-12, 6.5.10 and 6.5.12).
_TURN = re.compile(rb"\0\0\0\x09irot(.)", re.DOTALL)
_MIRROR = b"\0\0\0\x09imir"
#: Code points of ITU-T H.273 whose pixels are sRGB or near enough: BT.709 primaries, those of television and
#: "unspecified"; curves of sRGB, of BT.709 and its kin, and "unspecified".
_LIKE_SRGB_PRIMARIES = (1, 2, 5, 6)
_LIKE_SRGB_CURVES = (1, 2, 6, 13, 14, 15)


def open_heif(content: bytes) -> Image.Image:
    """Open a HEIF file with Pillow's interface; its first picture is the primary one, and comes upright.

    The library turns it as the file says, so that EXIF orientation, which only repeats it, must not be applied.
    """
    from pi_heif import HeifImageFile

    image: Image.Image = HeifImageFile(BytesIO(content))
    return image


def heif_turned_deg(content: bytes) -> int:
    """How far the library turned the picture, degrees clockwise; 0 if it mirrored it too.

    Phones write one turn, which the picture shares with its preview. Where there are several, which is whose cannot
    be told, and 0 is returned.
    """
    turns: set[int] = {box[0] & 3 for box in _TURN.findall(content)}
    if len(turns) != 1 or _MIRROR in content:
        return 0
    return -90 * turns.pop() % 360


def heif_colour_warning(info: Mapping[Any, Any]) -> str:
    """Return a sentence if colours are coded such that they are read wrong, else nothing."""
    coding = info.get("nclx_profile") or {}
    if "icc_profile" in info or not coding:
        return ""
    try:
        primaries, curve = int(coding["color_primaries"]), int(coding["transfer_characteristics"])
    except (KeyError, TypeError, ValueError):
        return ""
    if primaries in _LIKE_SRGB_PRIMARIES and curve in _LIKE_SRGB_CURVES:
        return ""
    return (
        f"its colours are coded for other screens (H.273 primaries {primaries}, curve {curve}) and were read as sRGB; "
        "switch HDR off, or export the photo as sRGB"
    )
