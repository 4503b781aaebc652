"""A JPEG from one place on brighter or of another tint: what one flipped bit does that no decoder can hear.

A block's mean is coded as its difference from the block before (ITU-T T.81, F.1.2.1.1). One wrong difference stays
with all blocks to come: those to the right in its row of blocks, and all rows below. So in the order of coding, the
step between a block and the one under it is off by the same amount for exactly as many blocks as there are in a row.
"""

from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from ..errors import PhotoFileError
from ..stats.robust import robust_sd

#: How many times what steps usually vary by a shift must be. In a row of a hundred blocks, chance does not make the
#: median of their steps as large as that, and an edge in the scene varies along itself by more than bare steps do.
_CLEAR = 3.0
_MOST_SPREAD = 1.5
#: Share of a shift by which its steps may vary all the same: a large one burns out what was light before.
_MOST_SHARE = 0.2
#: Levels that a shift must have at least: less hardly moves a figure, and flat pictures do not vary at all.
_LEAST = 3.0
#: Blocks at either end of a row within which a level edge in the scene looks much like a shift. So few have no median
#: to go by: each of them must tell, and the shift be twice as clear.
_ENDS = 4


def check_shift(pixels: NDArray[np.uint8], block: tuple[int, int], rounding: Sequence[float] = (0.0,)) -> None:
    """Raise PhotoFileError, which does not name the file, where a JPEG's brightness or tint jumps in mid-row.

    Parameters
    ----------
    pixels : ndarray of uint8 of shape (H, W, 3) or (H, W)
        As stored.
    block : tuple of int
        Height and width of what is coded together, px.
    rounding : sequence of float
        To what a block's mean is rounded, levels, of luma and, where there is any, of chroma.
    """
    height, width = block
    rows, columns = pixels.shape[0] // height, -(-pixels.shape[1] // width)
    if rows < 3 or columns < 4 * _ENDS:
        return
    for channel in range(1 if pixels.ndim == 2 else 3):
        # Where means are coarse, a soft edge of the scene becomes a step that is as even as a shift.
        least = max(_LEAST, _CLEAR * rounding[min(channel, len(rounding) - 1)])
        place = _shifted_from(_steps(pixels, height, width, channel), columns, least)
        if place is not None:
            row, column = divmod(place, columns)
            raise PhotoFileError(
                f"is damaged: from row {(row + 1) * height}, column {column * width} on (as stored, in pixels) all is"
                " lighter, darker or of another tint, as after one wrong bit. Copy it from the camera once more."
            )


def block_size(layers: Sequence[tuple[int, int, int, int]]) -> tuple[int, int]:
    """Height and width of what is coded together, px, from (id, horizontal, vertical, table) of each component."""
    if len(layers) == 1:
        return 8, 8
    return 8 * max(layer[2] for layer in layers), 8 * max(layer[1] for layer in layers)


def _steps(pixels: NDArray[np.uint8], height: int, width: int, channel: int) -> NDArray[np.float32]:
    """Step from each block to the one below, less what the slope on either side makes expect, in order of coding."""
    # Colour of half the rows is blurred over the border when it is spread to all of them.
    near = 1 if channel == 0 else 2
    borders = np.arange(1, pixels.shape[0] // height) * height
    above, far_above, below, far_below = (
        _channel(pixels[borders + offset], channel) for offset in (-near, -near - 1, near - 1, near)
    )
    slope = (above - far_above + far_below - below) / 2
    step = below - above - (2 * near - 1) * slope
    sums = np.add.reduceat(step, np.arange(0, step.shape[1], width), axis=1)
    return np.asarray(sums.ravel() / width, np.float32)


def _channel(rows: NDArray[np.uint8], channel: int) -> NDArray[np.float32]:
    if rows.ndim == 2:
        return rows.astype(np.float32)
    return np.asarray(cv2.cvtColor(rows, cv2.COLOR_RGB2YCrCb)[..., channel], np.float32)


def _shifted_from(steps: NDArray[np.float32], columns: int, least: float) -> int | None:
    """Index of the first step of a shift, or None."""
    usual = robust_sd(steps, 0.0)
    limit = max(least, _CLEAR * usual)
    sums = np.cumsum(np.concatenate([[0.0], np.clip(steps, -limit, limit)]))
    means = (sums[columns:] - sums[:-columns]) / columns
    first = int(np.argmax(np.abs(means)))
    within = steps[first : first + columns]
    shift = float(np.median(within))
    column = first % columns
    short = min(column, columns - column)
    if short == 0 or abs(shift) < (limit if short >= _ENDS else 2 * limit):
        return None
    spread = robust_sd(within, shift)
    if spread > max(_MOST_SPREAD * usual, _MOST_SHARE * abs(shift), 0.5):
        return None
    return first if _jumps(steps[first - column :], columns, column, shift) else None


def _jumps(steps: NDArray[np.float32], columns: int, column: int, shift: float) -> bool:
    """Whether a shift goes down by a row of blocks at a column, as no edge in the scene does.

    ``steps`` are those from the beginning of that row on.
    """
    row, under = steps[:columns] / shift, steps[columns : 2 * columns] / shift
    left, right = (row[:column], under[:column]), (under[column:], row[column:])
    if min(column, columns - column) >= _ENDS:
        # An edge that ends before the photo's rim, at a wall, looks like a shift on one side alone.
        return all(abs(float(np.median(bare))) < 1 / 2 < float(np.median(moved)) for bare, moved in (left, right))
    bare, moved = left if column < _ENDS else right
    return bool((abs(bare) < 1 / 2).all() and (abs(moved - 1) < 1 / 2).all())
