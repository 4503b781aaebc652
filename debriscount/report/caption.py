"""The strip below a picture: what it shows, its figures, its scale and what its lines mean."""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .borders import DASH, GAP, Stroke, draw_strokes
from .labels import draw_label
from .palette import DARK, Color, contrasting
from .text import LINE, broken, draw_text, text_width

PAPER: Color = (250, 250, 247)
_GREY: Color = (90, 90, 90)

Painter = Callable[[NDArray[np.uint8], int, int, int, int], None]


@dataclass(frozen=True, slots=True)
class LegendEntry:
    """A sample and what it stands for; ``paint`` gets picture, left, top, width and height, px."""

    text: str
    paint: Painter


@dataclass(frozen=True, slots=True)
class Caption:
    """The words of a caption, from the largest to the smallest."""

    title: str
    figures: str
    legend: tuple[LegendEntry, ...]
    note: str


def scale_bar(width_px: int, mm_per_px: float) -> tuple[float, float]:
    """Length of a scale bar: 1, 2 or 5 times a power of ten, about a fifth of the picture's width.

    Parameters
    ----------
    width_px : int
        Width of the picture, px.
    mm_per_px : float
        Scale, mm/px.

    Returns
    -------
    (float, float)
        Length in mm and in px.
    """
    wanted = width_px * mm_per_px / 5
    tens = 10.0 ** math.floor(math.log10(wanted))
    length_mm = min((f * tens for f in (1, 2, 5, 10)), key=lambda mm: abs(math.log(mm / wanted)))
    return length_mm, length_mm / mm_per_px


def draw_caption(caption: Caption, width: int, mm_per_px: float, size: int) -> NDArray[np.uint8]:
    """Draw a caption strip.

    Parameters
    ----------
    caption : Caption
        What it says, in as many lines as that takes.
    width : int
        Width of the strip, px.
    mm_per_px : float
        Scale of the picture above it, mm/px.
    size : int
        Size of the font, px.

    Returns
    -------
    ndarray of uint8, shape (H, width, 3)
        RGB, as high as its lines need.
    """
    pad, line = size, round(1.5 * size)
    title_size, note_size = round(1.3 * size), round(0.85 * size)
    beside_bar = width - 3 * pad - round(scale_bar(width, mm_per_px)[1])
    title = broken(caption.title, beside_bar, title_size, bold=True)
    figures = broken(caption.figures, beside_bar, size)
    rows = _legend_rows(caption.legend, width - 2 * pad, size)
    note = broken(caption.note, width - 2 * pad, note_size)
    # Room for the bar and its length even where no words stand beside it.
    words_height = max(round(1.5 * title_size) * len(title) + line * len(figures), 2 * line)
    legend_height = sum(line * lines for _, lines in rows)
    height = 2 * pad + words_height + legend_height + round(LINE * note_size) * max(1, len(note))
    strip = np.full((height, width, 3), PAPER, np.uint8)
    strip[: max(1, size // 12)] = DARK
    _draw_scale_bar(strip, width - pad, pad, mm_per_px, size)

    y = pad
    for words in title:
        draw_text(strip, words, (pad, y), title_size, DARK, bold=True)
        y += round(1.5 * title_size)
    for words in figures:
        draw_text(strip, words, (pad, y), size, DARK)
        y += line
    y = pad + words_height
    for row, lines in rows:
        _draw_legend_row(strip, row, (pad, y), size)
        y += line * lines
    for words in note:
        draw_text(strip, words, (pad, y), note_size, _GREY)
        y += round(LINE * note_size)
    return strip


def outline_sample(color: Color, debris: Color, floor: Color) -> Painter:
    """Legend sample of debris in its outline: a grain on the floor."""

    def paint(image: NDArray[np.uint8], left: int, top: int, width: int, height: int) -> None:
        image[top : top + height, left : left + width] = floor
        ring = max(2, height // 9)
        inner = height // 4
        for inset, fill in (
            (inner - 2 * ring, contrasting(color)[0]),
            (inner - ring, color),
            (inner, debris),
        ):
            i = max(inset, 0)
            image[top + i : top + height - i, left + i : left + width - i] = fill

    return paint


def plain_sample(color: Color) -> Painter:
    """Legend sample of an area."""

    def paint(image: NDArray[np.uint8], left: int, top: int, width: int, height: int) -> None:
        image[top : top + height, left : left + width] = color

    return paint


def label_sample(text: str) -> Painter:
    """Legend sample of a zone's label."""

    def paint(image: NDArray[np.uint8], left: int, top: int, width: int, height: int) -> None:
        draw_label(image, text, (left, top), (width, height), round(height / LINE))

    return paint


def stroke_sample(unit: int, floor: Color, dashed: bool) -> Painter:
    """Legend sample of a zone's border (dashed) or the patch's (solid) on the floor."""

    def paint(image: NDArray[np.uint8], left: int, top: int, width: int, height: int) -> None:
        image[top : top + height, left : left + width] = floor
        length = (2 * DASH + GAP) * unit
        start = left + (width - length) / 2
        line = Stroke(False, top + height / 2, start, start + length)
        draw_strokes(image, [line], unit, contrasting(floor), dashed=dashed)

    return paint


def _sample_width(size: int) -> int:
    return round(2.6 * size)


@dataclass(frozen=True, slots=True)
class _Placed:
    """An entry in a row of the legend: where its sample begins, px, and its words by lines."""

    entry: LegendEntry
    left: int
    lines: list[str]


def _legend_rows(legend: Sequence[LegendEntry], width: int, size: int) -> list[tuple[list[_Placed], int]]:
    """Entries row by row, and how many lines each row has; an entry wider than the strip has several."""
    rows: list[list[_Placed]] = []
    before, used = _sample_width(size) + size // 2, width + 1
    for entry in legend:
        lines = broken(entry.text, width - before, size)
        needed = before + max((text_width(line, size) for line in lines), default=0)
        if used + needed > width:
            rows.append([])
            used = 0
        rows[-1].append(_Placed(entry, used, lines))
        used += needed + 3 * size // 2
    return [(row, max(1, *(len(placed.lines) for placed in row))) for row in rows]


def _draw_legend_row(strip: NDArray[np.uint8], row: Sequence[_Placed], corner: tuple[int, int], size: int) -> None:
    left, top = corner
    for placed in row:
        at = left + placed.left
        placed.entry.paint(strip, at, top + size // 5, _sample_width(size), size)
        for number, line in enumerate(placed.lines):
            draw_text(strip, line, (at + _sample_width(size) + size // 2, top + number * round(1.5 * size)), size, DARK)


def _draw_scale_bar(strip: NDArray[np.uint8], right: int, top: int, mm_per_px: float, size: int) -> None:
    """Draw the bar with its right end at ``right``."""
    length_mm, length_px = scale_bar(strip.shape[1], mm_per_px)
    left = right - round(length_px)
    text = f"{length_mm:g} mm"
    draw_text(strip, text, ((left + right - text_width(text, size)) // 2, top), size, DARK)
    tick, bar = max(2, size // 8), max(3, size // 5)
    y = top + round(LINE * size) + size // 4
    strip[y : y + bar, left:right] = DARK
    for x in (left, right - tick):
        strip[y - bar : y + 2 * bar, x : x + tick] = DARK
