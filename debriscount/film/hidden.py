"""What stands between camera and floor: the machine, a hand, a cable, and the shadows that they throw."""

from dataclasses import dataclass
from functools import cache

import cv2
import numpy as np
from numpy.typing import NDArray

from ..arrays import Floats, Mask
from ..cover.light import FAINTEST
from ..photo.colour import linear_pixels
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
#: Deepest shadow, natural logarithm: a quarter of the light is left, as under one lamp in a lit room (common practice,
#: no source). What is darker is a thing.
_DEEPEST = -1.4
#: What a cell may be off, as a share of the light it then has, and still be floor with debris on it: bright grains on
#: a dark floor vary by more than all of the floor's light.
_MIXED = 0.2
#: Extent from which on cells that hang together are a thing, mm: a hand, a cable, a machine. Clumps are smaller.
_THING_MM = 60.0
#: Width of a spot without bare floor that is no clump of debris, mm; and the share of it that debris covers from which
#: on it may be of a heap.
_SOLID_MM, _HEAP = 40.0, 0.3
#: How far around things and shadows nothing is judged, cells: their blurred rim, and how far they move in a frame.
_AROUND = 2
#: Change of light, natural logarithm, from which on what is near a thing or a shadow is its rim; and how wide that is
#: at most, cells: a lamp of 0.5 m that hangs 2 m above a machine of 0.1 m makes 25 mm of it.
_SOFT, _RIM = 0.06, 8
#: Window, cells, over which a tint is told that single cells do not show for sure, and how much more of it than at
#: first is one, as a share of a channel's light.
_TINTED, _TINT = (5, 5), 0.07
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


def cell_grid(known: KnownFloor, size_px: tuple[int, int]) -> FloorGrid:
    """Cells over the patch and as much floor around it as a machine takes, if frames of that size show it."""
    grid = known.grid
    right, bottom = (
        first + n * grid.mm_per_px for first, n in ((grid.x0_mm, grid.width_px), (grid.y0_mm, grid.height_px))
    )
    low, high = np.array([grid.x0_mm, grid.y0_mm]) - BEYOND_MM, np.array([right, bottom]) + BEYOND_MM
    width, height = size_px
    corners = known.start.view.floor_mm(np.array([[0, 0], [width, 0], [width, height], [0, height]], float))
    low, high = np.maximum(low, corners.min(axis=0)), np.minimum(high, corners.max(axis=0))
    # A place of the patch always has a cell, whatever the frame shows.
    low, high = np.minimum(low, (grid.x0_mm, grid.y0_mm)), np.maximum(high, (right, bottom))
    columns, rows = np.ceil((high - low) / CELL_MM).astype(int)
    return FloorGrid(float(low[0]) + CELL_MM / 2, float(low[1]) + CELL_MM / 2, CELL_MM, int(rows), int(columns))


class Search:
    """Tells what is in the way, frame by frame."""

    def __init__(self, known: KnownFloor, cells: FloorGrid, first: Cells, last: Cells) -> None:
        """Take bare floor where it is known, and elsewhere what the first and the last frame show."""
        self.cells = cells
        bare, judged = _over_cells(known, cells)
        self._floors = [np.where(judged[..., None], bare, one.light) for one in (first, last)]
        self._logs = [_log(floor) for floor in self._floors]
        self._elsewhere = ~judged.ravel()
        self._debris = known.colours.astype(np.float32)
        self._seen = first.seen | last.seen
        # A heap of debris is there from the start; what is solid like one and comes later is a thing.
        off = np.asarray(cv2.LUT(first.pixels, _log_table()), np.float32) - self._logs[0]
        gain = _gain(off, first.seen)
        mean, hue = _mean_and_hue(off + gain)
        self._strewn = (np.abs(mean) >= _LIT) | (hue >= _HUE)
        self._tinted = cv2.blur(hue, _TINTED)
        share, _ = self._share(first.light.reshape(-1, 3) * np.exp(gain), self._floors[0].reshape(-1, 3))
        width = max(2, round(_SOLID_MM / CELL_MM))
        self._heaps = cv2.blur(share.reshape(judged.shape), (width, width)) > _HEAP

    def standing(self, frame: Cells) -> Standing:
        """What is in the way in a frame."""
        seen = frame.seen & self._seen
        off = np.asarray(cv2.LUT(frame.pixels, _log_table()), np.float32) - self._logs[0]
        gain = _gain(off, seen)
        off += gain
        mean, hue = _mean_and_hue(off)
        lit = (np.abs(mean) < _LIT) & (hue < _HUE)
        # What is floor in its own light, as most cells are, needs no second look.
        odd = np.nonzero((seen & ~lit).ravel())[0]
        light = frame.light.reshape(-1, 3)[odd] * np.exp(gain)
        told = np.stack(self._told(light, odd, 0))
        other = np.nonzero(self._elsewhere[odd])[0]
        # Beside the patch a cell is floor if it is what either of the two frames shows there.
        told[:, other] &= np.stack(self._told(light[other], odd[other], 1))
        other_than_floor, shaded, strange = (_spread(odd[chosen], lit.shape) for chosen in told)
        # A hand may have nearly the floor's colour: it shows by being so all over, where the first frame was not.
        tinted = (cv2.blur(hue, _TINTED) - self._tinted > _TINT) & ~self._elsewhere.reshape(lit.shape)
        solid = _solid(other_than_floor | (tinted & seen), self._heaps)
        things = _filled(_large((solid & ~shaded) | strange))
        # Dark grains that lie close are no shadow: they lay there from the start.
        shades = _large(shaded & (solid | ~self._strewn) & ~things)
        core = (things | shades | solid).astype(np.uint8)
        # A shadow's rim is soft, and debris in it shows less of itself: around what is sure, little tells.
        rim = cv2.dilate(core, np.ones((2 * _RIM + 1,) * 2, np.uint8)) > 0
        unlike = (np.abs(cv2.blur(mean, (3, 3))) > _SOFT) | (cv2.blur(hue, (3, 3)) > _SOFT)
        around = np.ones((2 * _AROUND + 1,) * 2, np.uint8)
        hidden = _filled(cv2.dilate(core | (rim & unlike), around) > 0)
        return Standing(things, hidden | ~seen, np.exp(gain).astype(float), _uneven(mean, seen & lit & ~hidden))

    def _told(self, light: NDArray[np.float32], cells: NDArray[np.intp], which: int) -> tuple[Mask, Mask, Mask]:
        """Which of some cells are not floor, which may be floor in shadow, and which neither floor, shade nor debris.

        Shape (N,) each.
        """
        floor = self._floors[which].reshape(-1, 3)[cells]
        off = _log(light) - self._logs[which].reshape(-1, 3)[cells]
        mean = off @ np.full(3, np.float32(1 / 3))
        hue = np.abs(off - mean[:, None]).max(axis=1, initial=0)
        odd = (np.abs(mean) >= _LIT) | (hue >= _HUE)
        shaded = odd & (mean < -_LIT) & (mean > _DEEPEST) & (hue < _HUE - 0.1 * mean)
        return odd, shaded, odd & ~shaded & ~self._share(light, floor)[1]

    def _share(self, light: NDArray[np.float32], floor: NDArray[np.float32]) -> tuple[NDArray[np.float32], Mask]:
        """How much of cells debris covers, and whether they are floor with debris on it at all; shape (N,) each."""
        most, strewn = np.zeros(len(light), np.float32), np.zeros(len(light), bool)
        for colour in self._debris:
            along = colour - floor
            share = ((light - floor) * along).sum(axis=1) / np.maximum((along * along).sum(axis=1), 1e-9)
            share = np.clip(share, 0, 1)
            mixed = floor + share[:, None] * along
            rest = np.sqrt(((light - mixed) ** 2).sum(axis=1))
            near = rest < _MIXED * np.maximum(mixed @ np.full(3, np.float32(1 / 3)), 0.02)
            np.maximum(most, np.where(near, share, 0), out=most)
            strewn |= near
        return most, strewn


def _gain(off: NDArray[np.float32], seen: Mask) -> NDArray[np.float32]:
    """Logarithm of the factor to the floor's light, from most of the cells, shape (3,)."""
    sample = -off[::2, ::2][seen[::2, ::2]]
    if len(sample) == 0:
        return np.zeros(3, np.float32)
    # A machine may fill much of the view: the commonest change of light, not the middle one.
    mean = sample @ np.full(3, np.float32(1 / 3))
    counts, edges = np.histogram(mean, bins=np.arange(-1.5, 1.5, 0.05))
    best = int(np.argmax(np.convolve(counts, np.ones(3), "same")))
    near = np.abs(mean - (edges[best] + 0.025)) < 0.1
    return np.median(sample[near], axis=0).astype(np.float32) if near.any() else np.zeros(3, np.float32)


def _mean_and_hue(off: NDArray[np.float32]) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Mean of the channels, and the most by which one of them is off it; shape (h, w) each."""
    mean = np.asarray(cv2.transform(off, np.full((1, 3), np.float32(1 / 3))), np.float32)
    red, green, blue = (cv2.absdiff(channel, mean) for channel in cv2.split(off))
    return mean, np.asarray(cv2.max(cv2.max(red, green), blue), np.float32)


@cache
def _log_table() -> NDArray[np.float32]:
    return _log(linear_pixels(np.arange(256, dtype=np.uint8)[None])[0])


def _log(light: NDArray[np.float32]) -> NDArray[np.float32]:
    return np.asarray(np.log(np.maximum(light, np.float32(4 * FAINTEST))), np.float32)


def _spread(chosen: NDArray[np.intp], shape: tuple[int, ...]) -> Mask:
    """Cells by number as a map."""
    cells = np.zeros(shape, bool)
    cells.ravel()[chosen] = True
    return cells


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


def _solid(odd: Mask, heaps: Mask) -> Mask:
    """Those of the cells that are not floor which lie together as no debris does that was not a heap from the start."""
    width = max(2, round(_SOLID_MM / CELL_MM))
    around = np.ones((2 * (width // 2) + 1,) * 2, np.uint8)
    return odd & (cv2.dilate(_opened(odd & ~heaps, width), around) > 0)


def _opened(cells: Mask, width: int) -> NDArray[np.uint8]:
    """Cells that lie in squares of that width, all of them in; an even width moves nothing aside."""
    square = np.ones((width, width), np.uint8)
    inner = cv2.erode(cells.astype(np.uint8), square, anchor=(0, 0))
    return np.asarray(cv2.dilate(inner, square, anchor=(width - 1, width - 1)), np.uint8)


def _filled(things: Mask) -> Mask:
    """Things without holes: a machine's lid may have the floor's colour in places."""
    outlines, _ = cv2.findContours(things.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    filled = np.zeros(things.shape, np.uint8)
    cv2.drawContours(filled, outlines, -1, (1,), cv2.FILLED)
    return filled > 0


def _large(cells: Mask) -> Mask:
    """Those of the cells that hang together as far as a thing reaches."""
    count, labels, stats, _ = cv2.connectedComponentsWithStats(_opened(cells, 2), connectivity=8)
    extent = np.hypot(stats[:, cv2.CC_STAT_WIDTH], stats[:, cv2.CC_STAT_HEIGHT]) * CELL_MM
    large = extent >= _THING_MM
    large[0] = False
    return large[labels] if count > 1 else np.zeros(cells.shape, bool)


def _uneven(off: NDArray[np.float32], clear: Mask) -> NDArray[np.float32]:
    """Factor that takes off how light differs from the frame's own over the floor, smooth; shape (h, w)."""
    width = 2 * int(_LIGHT_MM / CELL_MM / 2) + 1
    known = clear.astype(np.float32)
    weight = cv2.blur(known, (width, width))
    total = cv2.blur(off * known, (width, width))
    return np.asarray(np.exp(-total / np.maximum(weight, np.float32(0.05))), np.float32)
