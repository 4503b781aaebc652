"""What stands between camera and floor: the machine, a hand, a cable, and the shadows that they throw."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from ..arrays import Floats, Mask
from ..cover.light import FAINTEST
from ..registration.grid import FloorGrid
from .floor import KnownFloor
from .maps import Cells

#: Side of the cells by which a frame is searched for things, mm: a grain fills no more than one or two of them, and a
#: machine's rim is placed to a fraction of one.
CELL_MM = 5.0
#: How far beyond the patch's margin floor is looked at, mm: the whole of a machine that just leaves the patch.
BEYOND_MM = 450.0
#: Change of light, natural logarithm, below which a cell is floor; and change of one channel against the others, below
#: which a darker cell is floor in shadow. Film is compressed more than photos, its colour most of all.
_LIT, _HUE = 0.22, 0.14
#: Deepest shadow, natural logarithm: an eighth of the light is left. What is darker is a thing.
_DEEPEST = -2.1
#: What a cell may be off, as a share of the floor's light, and still be floor with debris on it.
_MIXED = 0.2
#: Extent from which on cells that hang together are a thing, mm: a hand, a cable, a machine. Clumps are smaller.
_THING_MM = 60.0
#: How far around things and shadows nothing is judged, cells: their blurred rim, and how far they move in a frame.
_AROUND = 2
#: Width over which light is compared with the floor's, mm.
_LIGHT_MM = 150.0


@dataclass(frozen=True, slots=True, eq=False)
class Standing:
    """What is in the way in one frame, by cell, shape (h, w).

    ``thing`` is what is no floor, debris and shadow on it; ``hidden`` where debris cannot be judged. ``gain`` is the
    factor that brings the frame's light to the floor's, of shape (3,) for the frame and ``uneven`` of shape (h, w) for
    the rest.
    """

    thing: Mask
    hidden: Mask
    gain: Floats
    uneven: NDArray[np.float32]


def cell_grid(known: KnownFloor) -> FloorGrid:
    """Cells over the patch and as much floor around it as a machine takes."""
    grid = known.grid
    left, top = grid.x0_mm - BEYOND_MM, grid.y0_mm - BEYOND_MM
    width, height = (n * grid.mm_per_px + 2 * BEYOND_MM for n in (grid.width_px, grid.height_px))
    return FloorGrid(left + CELL_MM / 2, top + CELL_MM / 2, CELL_MM, int(height / CELL_MM), int(width / CELL_MM))


class Search:
    """Tells what is in the way, frame by frame."""

    def __init__(self, known: KnownFloor, cells: FloorGrid, first: Cells, last: Cells) -> None:
        """Take bare floor where it is known, and elsewhere what the first and the last frame show."""
        self.cells = cells
        bare, judged = _over_cells(known, cells)
        self._floors = [np.where(judged[..., None], bare, one.light) for one in (first, last)]
        self._debris = known.colours.astype(np.float32)
        self._seen = first.seen | last.seen

    def standing(self, frame: Cells) -> Standing:
        """What is in the way in a frame."""
        seen = frame.seen & self._seen
        logs = _log(frame.light)
        gain = self._gain(logs, seen)
        thing, shade, off = self._told(frame.light * np.exp(gain).astype(np.float32), self._floors[0])
        if self._floors[1] is not self._floors[0]:
            other, dim, off2 = self._told(frame.light * np.exp(gain).astype(np.float32), self._floors[1])
            better = thing & ~other
            thing, shade, off = thing & other, np.where(better, dim, shade), np.where(better, off2, off)
        thing &= seen
        thing = _large(thing)
        shade = _large(shade & seen & ~thing)
        around = np.ones((2 * _AROUND + 1,) * 2, np.uint8)
        hidden = cv2.dilate((thing | shade).astype(np.uint8), around) > 0
        return Standing(thing, hidden | ~seen, np.exp(gain), _uneven(off, seen & ~hidden))

    def _gain(self, logs: NDArray[np.float32], seen: Mask) -> NDArray[np.float32]:
        """Logarithm of the factor to the floor's light, from most of the cells, shape (3,)."""
        off = _log(self._floors[0])[seen] - logs[seen]
        if len(off) == 0:
            return np.zeros(3, np.float32)
        # A machine may fill much of the view: the commonest change of light, not the middle one.
        mean = off.mean(axis=1)
        counts, edges = np.histogram(mean, bins=np.arange(-1.5, 1.5, 0.05))
        best = int(np.argmax(np.convolve(counts, np.ones(3), "same")))
        near = np.abs(mean - (edges[best] + 0.025)) < 0.1
        return np.median(off[near], axis=0).astype(np.float32) if near.any() else np.zeros(3, np.float32)

    def _told(self, light: NDArray[np.float32], floor: NDArray[np.float32]) -> tuple[Mask, Mask, NDArray[np.float32]]:
        """Which cells are things, which are shadow, and how far each is from the floor's light (logarithm)."""
        off = _log(light) - _log(floor)
        mean = off.mean(axis=-1)
        hue = np.abs(off - mean[..., None]).max(axis=-1)
        lit = (np.abs(mean) < _LIT) & (hue < _HUE)
        strewn = np.zeros(lit.shape, bool)
        bright = floor.mean(axis=-1)
        for colour in self._debris:
            along = colour - floor
            share = ((light - floor) * along).sum(axis=-1) / np.maximum((along * along).sum(axis=-1), 1e-9)
            share = np.clip(share, 0, 1)
            rest = np.sqrt(((light - floor - share[..., None] * along) ** 2).sum(axis=-1))
            strewn |= rest < _MIXED * np.maximum(bright, 0.02)
        shade = (mean < -_LIT) & (mean > _DEEPEST) & (hue < _HUE - 0.1 * mean) & ~strewn
        return ~(lit | strewn | shade), shade, np.where(lit, mean, np.nan)


def _log(light: NDArray[np.float32]) -> NDArray[np.float32]:
    return np.asarray(np.log(np.maximum(light, np.float32(4 * FAINTEST))), np.float32)


def _over_cells(known: KnownFloor, cells: FloorGrid) -> tuple[NDArray[np.float32], Mask]:
    """Bare floor over the cells, and where it is known."""
    grid = known.grid
    x, y = cells.x_mm(), cells.y_mm()
    columns, rows = np.meshgrid((x - grid.x0_mm) / grid.mm_per_px, (y - grid.y0_mm) / grid.mm_per_px)
    width = max(1, round(cells.mm_per_px / grid.mm_per_px))
    soft = cv2.blur(known.bare, (width, width))
    certain = cv2.erode(known.usable.astype(np.uint8), np.ones((width, width), np.uint8))
    maps = columns.astype(np.float32), rows.astype(np.float32)
    bare = np.asarray(cv2.remap(soft, *maps, cv2.INTER_LINEAR), np.float32)
    return bare, cv2.remap(certain, *maps, cv2.INTER_NEAREST, borderValue=(0,)) > 0


def _large(cells: Mask) -> Mask:
    """Those of the cells that hang together as far as a thing reaches."""
    closed = cv2.morphologyEx(cells.astype(np.uint8), cv2.MORPH_OPEN, np.ones((2, 2), np.uint8))
    count, labels, stats, _ = cv2.connectedComponentsWithStats(closed, connectivity=8)
    extent = np.hypot(stats[:, cv2.CC_STAT_WIDTH], stats[:, cv2.CC_STAT_HEIGHT]) * CELL_MM
    large = extent >= _THING_MM
    large[0] = False
    return large[labels] if count > 1 else np.zeros(cells.shape, bool)


def _uneven(off: NDArray[np.float32], clear: Mask) -> NDArray[np.float32]:
    """Factor that takes off how light differs from the frame's own over the floor, smooth; shape (h, w)."""
    known = clear & np.isfinite(off)
    width = 2 * int(_LIGHT_MM / CELL_MM / 2) + 1
    weight = cv2.blur(known.astype(np.float32), (width, width))
    total = cv2.blur(np.where(known, off, 0).astype(np.float32), (width, width))
    return np.asarray(np.exp(-total / np.maximum(weight, np.float32(0.05))), np.float32)
