"""Things that stand in a room in all shots and look unlike its floor: proposed as no floor, never left out unasked."""

from collections.abc import Iterator

import cv2
import numpy as np
from numpy.typing import NDArray

from ..arrays import Floats, Mask
from ..flags import Flag
from ..inputs.patch import Patch
from ..registration.grid import FloorGrid
from ..stats.robust import robust_sd
from .foreign import CellViews

#: Side of the squares whose mean colours are compared, mm: grains and the floor's pattern average out.
CELL_MM = 40.0
#: How far a colour must be from the floor's, as a natural logarithm and in robust standard deviations of the floor's
#: own, and how little it may change between shots.
UNLIKE, SURE, SAME = 0.4, 5.0, 0.2
#: Least area of what is proposed, mm²: a hand's breadth in square.
LEAST_MM2 = 10_000.0
#: Things told at most.
MOST = 5


def standing_flags(views: CellViews, grid: FloorGrid, patch: Patch) -> list[Flag]:
    """Return a note for each thing that all shots show and that looks unlike the floor; none unless it is a room.

    Parameters
    ----------
    views : CellViews
        Floor views of all shots, averaged over cells.
    grid : FloorGrid
        Raster that the cells were averaged from.
    patch : Patch
        What its file says to be no floor is not told again.
    """
    if not patch.is_room:
        return []
    block = max(1, round(CELL_MM / (views.cell_px * grid.mm_per_px)))
    step = block * views.cell_px * grid.mm_per_px
    colours = [_blocks(view, block) for view in views.views.values()]
    height, width = colours[0].shape[:2]
    corner_x, corner_y = grid.x0_mm - grid.mm_per_px / 2, grid.y0_mm - grid.mm_per_px / 2
    x, y = corner_x + step * (np.arange(width) + 0.5), corner_y + step * (np.arange(height) + 0.5)
    inside = patch.inside(x[None, :], y[:, None])
    if inside.sum() < 9:  # too few for a floor's own colour
        return []
    off = [_off_floor(colour, inside) for colour in colours]
    odd = np.logical_and.reduce([inside, *(_unlike(one, inside) for one in off)])
    odd &= np.logical_and.reduce([np.abs(one - off[0]).max(axis=2) < SAME for one in off])
    return list(_told(odd, (corner_x, corner_y), step))


def _blocks(view: NDArray[np.float32], block: int) -> Floats:
    """Logarithm of the mean light of squares of cells, shape (H // block, W // block, 3)."""
    height, width = (size // block for size in view.shape[:2])
    cut = view[: height * block, : width * block].reshape(height, block, width, block, -1)
    return np.asarray(np.log(np.maximum(cut.mean(axis=(1, 3)), 1e-3)), float)


def _off_floor(colour: Floats, inside: Mask) -> Floats:
    """How far each square's colour is from that of the floor there, whose light changes evenly over the room."""
    rows, columns = np.indices(inside.shape)
    even = np.stack([np.ones_like(rows), rows / inside.shape[0], columns / inside.shape[1]], axis=-1).astype(float)
    kept = inside.copy()
    for _ in range(3):
        fit = np.linalg.lstsq(even[kept], colour[kept], rcond=None)[0]
        off = colour - even @ fit
        spread = max(robust_sd(off[inside], 0.0), 1e-3)
        kept = inside & (np.abs(off).max(axis=2) < 3 * spread)
        if kept.sum() < 9:
            break
    return np.asarray(off)


def _unlike(off: Floats, inside: Mask) -> Mask:
    spread = np.array([max(robust_sd(off[..., channel][inside], 0.0), 1e-3) for channel in range(off.shape[2])])
    return np.asarray((np.abs(off) > np.maximum(UNLIKE, SURE * spread)).any(axis=2))


def _told(odd: Mask, corner_mm: tuple[float, float], step_mm: float) -> Iterator[Flag]:
    """Flags of the largest things, each with the polygon to write down."""
    outlines, _ = cv2.findContours(
        np.repeat(np.repeat(odd.astype(np.uint8), 4, axis=0), 4, axis=1), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE
    )
    large = sorted(outlines, key=cv2.contourArea, reverse=True)[:MOST]
    for outline in large:
        if cv2.contourArea(outline) * (step_mm / 4) ** 2 < LEAST_MM2:
            return
        corners = cv2.approxPolyDP(outline, 6.0, True)[:, 0] * step_mm / 4 + corner_mm
        (left, top), (right, bottom) = corners.min(axis=0), corners.max(axis=0)
        polygon = ", ".join(f"[{a:.0f}, {b:.0f}]" for a, b in corners)
        sentence = (
            f"something of about {right - left:.0f} x {bottom - top:.0f} mm around x = {(left + right) / 2:.0f}, "
            f"y = {(top + bottom) / 2:.0f} mm is in all shots and looks unlike the floor. If it is no floor, say so in "
            f"the patch file: [[not_floor]] with polygon_mm = [{polygon}]"
        )
        yield Flag(code="stands-there", severity="note", sentence=sentence)
