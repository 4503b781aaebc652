"""What machines left, beside each other: the last shot of each run with machine, settings and pickup."""

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from ..page.words import SOUND, pickup_words
from .frame import QUIET, REMARK, TEXT, Box, Frame, Line, write_words
from .pictures import run_title
from .views import RunViews, fitted

#: More in one frame are too small to be seen.
MOST = 6
#: Share of a cell's height that its words get.
_WORDS = 0.24


def draw_beside(frame: Frame, runs: Sequence[RunViews], *, text: bool = True) -> NDArray[np.uint8]:
    """Draw the last shot of each run, all at one scale.

    Parameters
    ----------
    frame : Frame
        Its size.
    runs : sequence of RunViews
        From 1 to ``MOST``, in the order of reading.
    text : bool
        Whether machine, settings and pickup stand below each. Without, what is around the pictures is transparent.

    Returns
    -------
    ndarray of uint8, shape (frame.height, frame.width, 3), or 4 with what is transparent
    """
    image, safe = frame.empty(), frame.safe
    opaque = np.zeros(image.shape[:2], np.uint8)
    columns = _columns(frame, runs)
    rows = math.ceil(len(runs) / columns)
    gap = round(24 * frame.unit)
    for k, views in enumerate(runs):
        x, y = k % columns, k // columns
        cell = Box(
            safe.left + x * safe.width // columns + gap * (x > 0) // 2,
            safe.top + y * safe.height // rows + gap * (y > 0) // 2,
            safe.left + (x + 1) * safe.width // columns - gap * (x < columns - 1) // 2,
            safe.top + (y + 1) * safe.height // rows - gap * (y < rows - 1) // 2,
        )
        edge = cell.bottom - (round(_WORDS * cell.height) if text else 0)
        last = views.run.figures.passes[-1]
        shot = "after" if last.number == 1 else f"after{last.number}"
        canvas, (left, top) = fitted(views.floor(shot), views, Box(cell.left, cell.top, cell.right, edge))
        height, width = canvas.image.shape[:2]
        image[top : top + height, left : left + width] = canvas.image
        opaque[top : top + height, left : left + width] = 255
        if text:
            whole = last.zones["patch"]
            said = pickup_words(whole) + ("" if whole.trust == SOUND else f", {whole.trust}")
            words = [Line(run_title(views), TEXT, bold=True), Line(said, REMARK, QUIET)]
            below = Box(cell.left, min(top + height + gap // 2, edge), cell.right, cell.bottom)
            write_words(image, below, words, frame.unit)
    return image if text else np.dstack([image, opaque])


def _columns(frame: Frame, runs: Sequence[RunViews]) -> int:
    """How many beside each other make the pictures largest."""
    left, top, right, bottom = runs[0].patch.outer_box_mm()
    aspect = (right - left) / (bottom - top)

    def size(columns: int) -> float:
        rows = math.ceil(len(runs) / columns)
        width, height = frame.safe.width / columns, (1 - _WORDS) * frame.safe.height / rows
        return min(width, height * aspect)

    return max(range(1, len(runs) + 1), key=size)
