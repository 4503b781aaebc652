"""A bar a zone: pickup with its interval, large enough to be read from a chair."""

from collections.abc import Mapping
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from ..campaign.records import FiledFigure
from ..page.words import SOUND, known_pickup
from ..report.palette import LIGHT, OKABE_ITO, Color
from ..report.rounding import more_than_text, percent_text
from ..report.text import LINE, broken, draw_text, text_width
from ..stats.proportion import Interval
from .frame import QUIET, REMARK, TEXT, TITLE, Box, Frame, Line, write_words

BAR: Color = OKABE_ITO[1]
TRACK: Color = (52, 52, 52)
#: Of a row's height, and of its width to the left and to the right of the bar.
_THICK, _NAME, _VALUE = 0.46, 0.24, 0.24


@dataclass(frozen=True, slots=True, kw_only=True)
class Bar:
    """A pickup, percent, None where it is not known, with its 95 % interval and as it is written beside the bar."""

    value: float | None
    interval95: Interval | None
    words: str
    doubtful: bool


def bar_of(figure: FiledFigure) -> Bar:
    """A zone's pickup as a bar; of what is promised at least there is no interval."""
    value, promised = known_pickup(figure), figure.more_than_percent
    return Bar(
        value=value,
        interval95=None if promised is not None else figure.interval95,
        words="not measurable"
        if value is None
        else percent_text(value)
        if promised is None
        else more_than_text(promised),
        doubtful=figure.trust != SOUND,
    )


def draw_bars(
    frame: Frame, title: str, remark: str, bars: Mapping[str, Bar], line: str = "95 % interval"
) -> NDArray[np.uint8]:
    """Draw pickups as bars from 0 to 100 %, one below the other.

    Parameters
    ----------
    frame : Frame
        Its size.
    title, remark : str
        What the bars show, and of which run.
    bars : mapping of str to Bar
        By the name that stands beside each.
    line : str
        What the line across a bar's end is.

    Returns
    -------
    ndarray of uint8, shape (frame.height, frame.width, 3)
        sRGB. The line across a bar's end is its interval; a doubtful figure's bar is hatched. Where more lies
        there than before, the bar is empty.
    """
    image, safe, unit = frame.empty(), frame.safe, frame.unit
    head = write_words(image, safe, [Line(remark, REMARK, QUIET), Line(title, TITLE, bold=True)], unit)
    notes = [Line(f"line: {line}", REMARK, QUIET)]
    if any(bar.doubtful for bar in bars.values()):
        notes.append(Line("hatched: doubtful", REMARK, QUIET))
    foot = round(len(notes) * 1.7 * REMARK * unit)
    write_words(image, Box(safe.left, safe.bottom - foot, safe.right, safe.bottom), notes, unit)
    room = Box(safe.left, head.bottom + round(30 * unit), safe.right, safe.bottom - foot)
    row = min(room.height // max(len(bars), 1), round(170 * unit))
    size = max(6, min(round(TEXT * unit), round(0.3 * row)))
    for k, (name, bar) in enumerate(bars.items()):
        _row(image, Box(room.left, room.top + k * row, room.right, room.top + (k + 1) * row), name, bar, size)
    return image


def _row(image: NDArray[np.uint8], box: Box, name: str, bar: Bar, size: int) -> None:
    left, right = box.left + round(_NAME * box.width), box.right - round(_VALUE * box.width)
    thick = round(_THICK * box.height)
    top = box.top + (box.height - thick) // 2
    _beside(image, name, (box.left, top + thick // 2), left - box.left - size, size)
    image[top : top + thick, left:right] = TRACK
    if bar.value is not None:
        end = left + round((right - left) * float(np.clip(bar.value, 0, 100)) / 100)
        image[top : top + thick, left:end] = BAR
        if bar.doubtful:
            _hatch(image, Box(left, top, end, top + thick), size)
        if bar.interval95 is not None:
            ends = [left + (right - left) * float(np.clip(v, 0, 100)) / 100 for v in bar.interval95]
            _whisker(image, ends, top + thick // 2, thick, max(2, size // 10))
    _beside(image, bar.words, (right + size // 2, top + thick // 2), box.right - right - size // 2, size, bold=True)


def _beside(
    image: NDArray[np.uint8], text: str, middle: tuple[int, int], width: int, size: int, bold: bool = False
) -> None:
    """Write text with its middle at a row, on two lines and smaller where there is no room."""
    while max(text_width(line, size, bold) for line in broken(text, width, size, bold)) > width and size > 6:
        size -= 1
    lines = broken(text, width, size, bold)
    while len(lines) > 2 and size > 6:
        size -= 1
        lines = broken(text, width, size, bold)
    top = middle[1] - round(LINE * size) * len(lines) // 2
    for k, line in enumerate(lines):
        draw_text(image, line, (middle[0], top + k * round(LINE * size)), size, LIGHT, bold=bold)


def _hatch(image: NDArray[np.uint8], box: Box, size: int) -> None:
    rows, columns = np.mgrid[box.top : box.bottom, box.left : box.right]
    gap = (rows + columns) // max(2, size // 4) % 2 == 0
    image[box.top : box.bottom, box.left : box.right][gap] = TRACK


def _whisker(image: NDArray[np.uint8], ends: list[float], row: int, thick: int, width: int) -> None:
    a, b = (round(end) for end in ends)
    for color, more in (((0, 0, 0), width), (LIGHT, 0)):
        cv2.line(image, (a, row), (b, row), color, width + more, cv2.LINE_AA)
        for x in (a, b):
            cv2.line(image, (x, row - thick // 3), (x, row + thick // 3), color, width + more, cv2.LINE_AA)
