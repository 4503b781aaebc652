"""Names of the zones, written where they hide as little debris as may be."""

from collections.abc import Mapping, Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from ..arrays import Floats, Mask
from ..inputs.patch import ZONES, Patch
from ..registration.grid import FloorGrid
from .palette import DARK, LIGHT
from .text import LINE, draw_text, text_width

_CELL = 8  # places are tried on a raster of so many px
_OPAQUE = 0.7
_SOME = 1e-4  # of a label over debris: less is what sums are rounded by


def draw_labels(
    image: NDArray[np.uint8],
    covered: NDArray[np.uint8],
    patch: Patch,
    grid: FloorGrid,
    *,
    texts: Mapping[str, Sequence[str]],
    size: int,
) -> list[tuple[int, int, int, int]]:
    """Write a label into every separate part of every zone, in place.

    Parameters
    ----------
    image : ndarray of uint8, shape (H, W, 3)
        The floor view on ``grid``.
    covered : ndarray of uint8, shape (H, W)
        Not 0 where something must stay visible.
    patch : Patch
        The patch.
    grid : FloorGrid
        Where the view's pixels lie.
    texts : mapping of str to sequence of str
        For a zone's name its text, of one or more lines, with narrower ones after it; the first that fits into the
        zone and hides nothing is used, or else the first that fits.
    size : int
        Size of the font, px.

    Returns
    -------
    list of (left, top, right, bottom)
        Where the labels lie, px.
    """
    busy = _coarse(covered)
    boxes = []
    for name, part in _parts(patch, grid, busy.shape, texts):
        choices = [_place(busy, part, *label_size(text, size)) for text in texts[name]]
        fits = [i for i, (_, outside, _) in enumerate(choices) if outside < 0.01]
        free = [i for i in fits if choices[i][2] == 0]
        best = (free or fits or [len(choices) - 1])[0]
        left, top = choices[best][0]
        width, height = label_size(texts[name][best], size)
        draw_label(image, texts[name][best], (left, top), (width, height), size)
        boxes.append((left, top, left + width, top + height))
        busy[top // _CELL : -(-(top + height) // _CELL), left // _CELL : -(-(left + width) // _CELL)] = 1
    return boxes


def _coarse(covered: NDArray[np.uint8]) -> NDArray[np.float32]:
    """Share of each cell that is covered."""
    height, width = (max(1, n // _CELL) for n in covered.shape)
    yes = cv2.threshold(covered, 0, 255, cv2.THRESH_BINARY)[1]
    cells = cv2.resize(yes, (width, height), interpolation=cv2.INTER_AREA)
    return np.asarray(cells, np.float32) / np.float32(255)


def _parts(
    patch: Patch, grid: FloorGrid, shape: tuple[int, ...], names: Mapping[str, Sequence[str]]
) -> list[tuple[str, Mask]]:
    """Zones and their separate parts as rasters of cells: a strip on either side of a corner is two."""
    step = _CELL * grid.mm_per_px
    # A cell belongs to a zone if all its corners do, so that no label crosses a border.
    x = grid.x0_mm - grid.mm_per_px / 2 + step * np.arange(shape[1] + 1)
    y = grid.y0_mm - grid.mm_per_px / 2 + step * np.arange(shape[0] + 1)
    codes = patch.zone_codes(*np.meshgrid(x, y))
    rasters = [(name, _whole_cells(codes == code)) for code, name in enumerate(ZONES)]
    for zone in patch.custom_zones:
        corners = np.rint((np.array(zone.polygon_mm) - (x[0], y[0])) / step).astype(np.int32)
        filled = cv2.fillPoly(np.zeros(codes.shape, np.uint8), [corners], (1,))
        rasters.append((zone.name, _whole_cells(np.asarray(filled) > 0)))
    parts = []
    for name, raster in rasters:
        count, labels = cv2.connectedComponents(raster.astype(np.uint8), connectivity=4)
        if name in names:
            parts += [(name, np.asarray(labels == label)) for label in range(1, count)]
    return parts


def _whole_cells(corners: Mask) -> Mask:
    return corners[1:, 1:] & corners[:-1, 1:] & corners[1:, :-1] & corners[:-1, :-1]


def _place(busy: NDArray[np.float32], part: Mask, width: int, height: int) -> tuple[tuple[int, int], float, float]:
    """Left top corner, px, of the best place for a label, and the shares of it outside its zone and over debris."""
    w, h = (min(-(-n // _CELL), limit) for n, limit in ((width, busy.shape[1]), (height, busy.shape[0])))
    hidden = window_mean(busy, w, h)
    beyond = 1 - part.astype(np.float32)
    outside = window_mean(beyond, w, h)
    # Two cells more all round keep the label off the borders, where there is room for that.
    near = window_mean(np.pad(beyond, 2, constant_values=1), w + 4, h + 4)
    rows, cols = np.nonzero(part)
    down, right = np.ogrid[: hidden.shape[0], : hidden.shape[1]]
    # All else equal near the zone's left upper end, where reading begins.
    far = np.hypot(down - rows.min(), right - cols.min()) / sum(part.shape)
    cost = 1000 * outside + 200 * (hidden > _SOME) + 100 * (near + hidden) + far
    best = np.unravel_index(np.argmin(cost), hidden.shape)
    return (
        (int(best[1]) * _CELL, int(best[0]) * _CELL),
        float(outside[best]),
        float(hidden[best] * (hidden[best] > _SOME)),
    )


def window_mean(values: NDArray[np.float32] | NDArray[np.uint8], width: int, height: int) -> Floats:
    """Mean of every window that lies wholly in the raster, at its first row and column."""
    sums = np.asarray(cv2.integral(values), float)
    total = sums[height:, width:] - sums[:-height, width:] - sums[height:, :-width] + sums[:-height, :-width]
    return np.asarray(total / (width * height))


def label_size(text: str, size: int) -> tuple[int, int]:
    """Width and height of a label of one or more lines, px."""
    lines = text.split("\n")
    return max(text_width(line, size) for line in lines) + size // 2 * 2, round(LINE * size) * len(lines)


def draw_label(
    image: NDArray[np.uint8], text: str, corner: tuple[int, int], extent: tuple[int, int], size: int
) -> None:
    """Write light text on a dark ground that lets what is below shine through, in place."""
    (left, top), (width, height) = corner, extent
    window = image[top : top + height, left : left + width]
    window[...] = np.rint(window * (1 - _OPAQUE) + np.array(DARK) * _OPAQUE)
    for i, line in enumerate(text.split("\n")):
        x = left + (width - text_width(line, size)) // 2
        draw_text(image, line, (x, top + i * round(LINE * size)), size, LIGHT)
