"""Text on pictures.

OpenCV 5 carries a font with accents, Cyrillic, Greek and Chinese characters. OpenCV 4 has none, and the
font that Pillow carries ends with ASCII: there, accents are dropped rather than shown as boxes.
"""

import re
import unicodedata
from functools import cache
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

from ..printable import printable
from .palette import Color

#: Height of a line of text over the font's size.
LINE = 1.35
_ASCENT = 1.05  # from the line's top to the baseline
#: Where a line may be broken: not between a number and its unit.
_BREAKS = re.compile(" (?!(?:%|mm)(?![A-Za-z]))")
_WEIGHTS = {False: 400, True: 600}
# What Unicode does not take apart into a letter and its accent.
_PLAIN = {"\N{EN DASH}": "-", "\N{MINUS SIGN}": "-", "\N{MULTIPLICATION SIGN}": "x", "ß": "ss"} | dict(
    zip("æÆøØłŁđĐ", ("ae", "AE", *"oOlLdD"), strict=True)
)


def text_width(text: str, size: int, bold: bool = False) -> int:
    """Width of the text, px."""
    text = _one_line(text)
    font = _opencv_font()
    if font is not None:
        return int(cv2.getTextSize((0, 0), text, (0, 0), font, size, _WEIGHTS[bold])[2])
    return round(_pillow_font(size).getlength(_ascii(text)))


def draw_text(
    image: NDArray[np.uint8], text: str, xy: tuple[int, int], size: int, color: Color, *, bold: bool = False
) -> None:
    """Write text into an RGB picture.

    Parameters
    ----------
    image : ndarray of uint8, shape (H, W, 3)
        Changed in place; contiguous.
    text : str
        Line breaks and runs of blanks become one blank.
    xy : (int, int)
        Column and row of the line's top left corner; the line is ``LINE * size`` high.
    size : int
        Size of the font, px.
    color : (int, int, int)
        RGB.
    bold : bool
        Heavier letters, where the font has them.
    """
    text = _one_line(text)
    left, base = xy[0], xy[1] + round(_ASCENT * size)
    font = _opencv_font()
    if font is not None:
        cv2.putText(image, text, (left, base), color, font, size, _WEIGHTS[bold])
        return
    top, bottom = max(0, base - 2 * size), min(image.shape[0], base + size)
    band = Image.fromarray(image[top:bottom])
    ImageDraw.Draw(band).text((left, base - top), _ascii(text), color, _pillow_font(size), anchor="ls")
    image[top:bottom] = np.asarray(band)


def broken(text: str, width: int, size: int, bold: bool = False) -> list[str]:
    """Break text into lines no wider than ``width`` px, at blanks, or within a word that is wider by itself."""
    lines: list[str] = []
    for word in filter(None, _BREAKS.split(_one_line(text))):
        whole = f"{lines[-1]} {word}" if lines else word
        if lines and text_width(whole, size, bold) <= width:
            lines[-1] = whole
            continue
        rest = word
        while text_width(rest, size, bold) > width and len(rest) > 1:
            cut = next(n for n in range(len(rest) - 1, 0, -1) if n == 1 or text_width(rest[:n], size, bold) <= width)
            lines.append(rest[:cut])
            rest = rest[cut:]
        lines.append(rest)
    return lines


@cache
def _opencv_font() -> Any:
    return cv2.FontFace("sans") if hasattr(cv2, "FontFace") else None


@cache
def _pillow_font(size: int) -> ImageFont.ImageFont | ImageFont.FreeTypeFont:
    return ImageFont.load_default(size=size)


def _one_line(text: str) -> str:
    return printable(" ".join(text.split()))


def _ascii(text: str) -> str:
    """Nearest ASCII; "…" becomes "..." and what has no likeness "?"."""
    plain = unicodedata.normalize("NFKD", "".join(_PLAIN.get(c, c) for c in text))
    return "".join(c if c.isascii() else "?" for c in plain if not unicodedata.combining(c))
