"""The frame of a still: its size, what of it every screen shows, and where picture and words go."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..report.caption import LegendEntry
from ..report.palette import DARK, LIGHT, Color
from ..report.text import LINE, broken, draw_text

#: Share of width and height, on every side, that a screen or a player's controls may cover: graphics keep off it
#: (EBU R 95, graphics safe area for pictures of 16:9; from memory).
UNSAFE = 0.05
#: Share of the safe width, or in an upright frame of the safe height, that the words get, and the gap before them.
WORDS, WORDS_BELOW, GAP = 0.27, 0.36, 0.03
#: Sizes of type for a frame whose shorter side is 1080 px: read on a phone held at arm's length (common practice, no
#: source).
TITLE, FIGURE, TEXT, REMARK = 60, 96, 38, 30
#: The frame around picture and words: dark, so that it does not outshine the picture.
GROUND: Color = DARK
QUIET: Color = (190, 190, 190)
#: Words are made smaller by this, again and again, until they fit.
_SMALLER = 0.93


@dataclass(frozen=True, slots=True)
class Box:
    """A rectangle in a frame, px: the first column and row inside it, and the first beyond it."""

    left: int
    top: int
    right: int
    bottom: int

    @property
    def width(self) -> int:
        """Columns."""
        return self.right - self.left

    @property
    def height(self) -> int:
        """Rows."""
        return self.bottom - self.top


@dataclass(frozen=True, slots=True)
class Frame:
    """A frame of so many pixels; ``unit`` is what type and lines are measured in, 1 where the shorter side is 1080."""

    width: int
    height: int

    @property
    def unit(self) -> float:
        """Factor for sizes of type."""
        return min(self.width, self.height) / 1080

    @property
    def safe(self) -> Box:
        """What every screen shows."""
        x, y = round(UNSAFE * self.width), round(UNSAFE * self.height)
        return Box(x, y, self.width - x, self.height - y)

    @property
    def upright(self) -> bool:
        """Whether it is higher than wide: then words stand below the picture, else beside it."""
        return self.height > self.width

    def parted(self) -> tuple[Box, Box]:
        """Where the picture goes, and where the words."""
        safe = self.safe
        if self.upright:
            edge, gap = safe.bottom - round(WORDS_BELOW * safe.height), round(GAP * safe.height)
            return Box(safe.left, safe.top, safe.right, edge - gap), Box(safe.left, edge, safe.right, safe.bottom)
        edge, gap = safe.right - round(WORDS * safe.width), round(GAP * safe.width)
        return Box(safe.left, safe.top, edge - gap, safe.bottom), Box(edge, safe.top, safe.right, safe.bottom)

    def even(self) -> "Frame":
        """The frame with sides of even length, which clips need: their colour is coarser by half."""
        return Frame(self.width // 2 * 2, self.height // 2 * 2)

    def empty(self) -> NDArray[np.uint8]:
        """The ground, shape (height, width, 3)."""
        return np.full((self.height, self.width, 3), GROUND, np.uint8)


@dataclass(frozen=True, slots=True)
class Line:
    """A piece of text, broken into lines where it has to be; ``size`` as for a frame of 1080."""

    text: str
    size: int = TEXT
    color: Color = LIGHT
    bold: bool = False


Words = Sequence[Line | LegendEntry]


def write_words(image: NDArray[np.uint8], box: Box, words: Words, unit: float) -> Box:
    """Write words from the top of a box down, smaller where they would not fit; in place.

    Parameters
    ----------
    image : ndarray of uint8, shape (H, W, 3)
        The frame.
    box : Box
        Where they may stand.
    words : sequence of Line or LegendEntry
        From top to bottom.
    unit : float
        Of the frame.

    Returns
    -------
    Box
        What they take of the box.
    """
    scale = unit
    while (height := _height(words, box.width, scale)) > box.height and scale > unit / 8:
        scale *= _SMALLER
    y = box.top
    for one in words:
        if isinstance(one, Line):
            size = _px(one.size, scale)
            for line in broken(one.text, box.width, size, one.bold):
                draw_text(image, line, (box.left, y), size, one.color, bold=one.bold)
                y += round(LINE * size)
            y += size // 3
            continue
        size, sample = _px(REMARK, scale), _sample(scale)
        one.paint(image, box.left, y, 2 * sample, sample)
        lines = broken(one.text, box.width - 2 * sample - size // 2, size)
        for k, line in enumerate(lines):
            draw_text(image, line, (box.left + 2 * sample + size // 2, y + k * round(LINE * size)), size, LIGHT)
        y += max(sample, len(lines) * round(LINE * size)) + size // 3
    return Box(box.left, box.top, box.right, min(box.top + height, box.bottom))


def _height(words: Words, width: int, scale: float) -> int:
    total = 0
    for one in words:
        if isinstance(one, Line):
            size = _px(one.size, scale)
            total += len(broken(one.text, width, size, one.bold)) * round(LINE * size) + size // 3
        else:
            size, sample = _px(REMARK, scale), _sample(scale)
            lines = len(broken(one.text, width - 2 * sample - size // 2, size))
            total += max(sample, lines * round(LINE * size)) + size // 3
    return total


def _px(size: int, scale: float) -> int:
    return max(6, round(size * scale))


def _sample(scale: float) -> int:
    """Height of a legend's sample, px; it is twice as wide."""
    return _px(round(1.2 * TEXT), scale)


def over_ground(draw_over: Sequence[NDArray[np.uint8]]) -> NDArray[np.uint8]:
    """What is drawn the same over black and over white, as colour and opacity.

    Parameters
    ----------
    draw_over : (ndarray, ndarray) of uint8, shape (H, W, 3)
        The same drawing over black and over white.

    Returns
    -------
    ndarray of uint8, shape (H, W, 4)
        RGBA, transparent where nothing was drawn. Over black a colour c of opacity a shows a c, over white 1 - a more.
    """
    black, white = (np.asarray(image, np.float32) for image in draw_over)
    opacity = np.clip(255 - (white - black).mean(axis=2), 0, 255)
    color = np.where(opacity[..., None] > 0, 255 * black / np.maximum(opacity[..., None], 1), 0)
    return np.asarray(np.rint(np.dstack([np.clip(color, 0, 255), opacity])), np.uint8)
