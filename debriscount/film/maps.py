"""Frames over the floor: fine, to count debris, and by coarse cells, to find what is in the way."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from ..arrays import Mask
from ..camera.view import FloorToPhoto
from ..photo.colour import linear_pixels, luminance_view
from ..registration.align import TILE, improve_shift, no_shift, texture_pull
from ..registration.grid import FloorGrid
from ..registration.resample import Shift

#: Pixels between the places at which the projection is computed exactly; in between it is linear.
_STEP = 8
#: Rounds of alignment on the floor's texture.
_ROUNDS = 2
#: Window over which two views' light is compared, px: four tiles of the alignment, as in `texture_pull`.
_LIT_PX = (4 * TILE + 1, 4 * TILE + 1)


@dataclass(frozen=True, slots=True, eq=False)
class FloorMap:
    """Where the pixels of the floor view lie in frames taken from one place, and which of them a frame shows."""

    where: NDArray[np.int16]
    fraction: NDArray[np.uint16]
    seen: Mask

    @classmethod
    def of(
        cls, view: FloorToPhoto, grid: FloorGrid, size_px: tuple[int, int], shift: Shift | None = None
    ) -> "FloorMap":
        """The map for one place of the camera; ``shift`` is added to every floor place before it is looked up."""
        rows, columns = (-(-n // _STEP) + 1 for n in grid.shape)
        x, y = np.meshgrid(
            grid.x0_mm + grid.mm_per_px * _STEP * np.arange(columns),
            grid.y0_mm + grid.mm_per_px * _STEP * np.arange(rows),
        )
        places = np.stack([x, y], axis=-1)
        nodes = view.project(places if shift is None else places + shift.at(places)).astype(np.float32)
        lookup = cv2.warpAffine(
            nodes,
            np.array([[1 / _STEP, 0, 0], [0, 1 / _STEP, 0]]),
            (grid.width_px, grid.height_px),
            flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
            borderMode=cv2.BORDER_REPLICATE,
        )
        where, fraction = cv2.convertMaps(lookup, None, cv2.CV_16SC2)  # type: ignore[call-overload]
        seen = ((lookup >= 0) & (lookup <= np.array(size_px) - 1)).all(axis=-1)
        return cls(where, fraction, np.asarray(seen))

    def view(self, bgr: NDArray[np.uint8]) -> NDArray[np.float32]:
        """A frame as floor view, linear light of shape (H, W, 3), red first."""
        shown = cv2.remap(bgr, self.where, self.fraction, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
        return linear_pixels(np.asarray(cv2.cvtColor(shown, cv2.COLOR_BGR2RGB), np.uint8))


def aligned_map(
    bgr: NDArray[np.uint8], view: FloorToPhoto, grid: FloorGrid, bare: NDArray[np.float32], clear: Mask
) -> FloorMap:
    """The map for the place from which a frame was taken, the floor's own texture laid on itself.

    Parameters
    ----------
    bgr : ndarray of uint8, shape (H, W, 3)
        The frame.
    view : FloorToPhoto
        What the markers tell of the place.
    grid : FloorGrid
        Raster of the floor view.
    bare : ndarray of float32, shape grid.shape + (3,)
        The bare floor, linear light.
    clear : ndarray of bool, shape grid.shape
        Where the frame may show it bare.
    """
    size, target, shift = (bgr.shape[1], bgr.shape[0]), _log(bare), no_shift(grid)
    for _ in range(_ROUNDS):
        there = FloorMap.of(view, grid, size, shift)
        free = clear & there.seen
        pull = texture_pull(target, _in_light_of(target, _log(there.view(bgr)), free), free, grid)
        shift = improve_shift(shift, pull, grid.mm_per_px, grid.mm_per_px)
    return FloorMap.of(view, grid, size, shift)


def _in_light_of(target: NDArray[np.float32], shown: NDArray[np.float32], free: Mask) -> NDArray[np.float32]:
    """A view's texture in the light of another, both as logarithms; where it is not free, the other itself.

    Light is told where the view is free alone: what debris and walls take of it would be taken for floor that is lit
    otherwise and, where floor darkens towards a wall, for floor that was moved.
    """
    weight = free.astype(np.float32)
    off = (shown - target) * weight
    share = np.maximum(cv2.blur(weight, _LIT_PX), np.float32(1e-6))
    return np.asarray(np.where(free, shown - cv2.blur(off, _LIT_PX) / share, target), np.float32)


def _log(view: NDArray[np.float32]) -> NDArray[np.float32]:
    # Below a thousandth of white a frame shows its noise alone.
    return np.asarray(np.log(np.maximum(luminance_view(view), np.float32(1e-3))), np.float32)


@dataclass(frozen=True, slots=True, eq=False)
class Cells:
    """A frame over coarse cells of floor: sRGB of shape (h, w, 3), and which of them the frame shows."""

    pixels: NDArray[np.uint8]
    seen: Mask

    @property
    def light(self) -> NDArray[np.float32]:
        """Linear light, shape (h, w, 3)."""
        return linear_pixels(self.pixels)


@dataclass(frozen=True, slots=True, eq=False)
class CellMap:
    """Where the cells lie in a frame that is first made smaller, and which of them it shows."""

    smaller: int
    columns: NDArray[np.float32]
    rows: NDArray[np.float32]
    seen: Mask

    @classmethod
    def of(cls, view: FloorToPhoto, cells: FloorGrid, size_px: tuple[int, int]) -> "CellMap":
        """The map for one place of the camera."""
        x, y = np.meshgrid(cells.x_mm(), cells.y_mm())
        places = np.stack([x, y], axis=-1)
        at = view.project(places)
        usual = float(
            np.median(view.mm_per_px(places[:: cells.height_px // 4 or 1, :: cells.width_px // 4 or 1].reshape(-1, 2)))
        )
        smaller = max(1, int(cells.mm_per_px / usual))
        seen = ((at >= 0) & (at <= np.array(size_px) - 1)).all(axis=-1)
        # The middle of a small pixel is that of the square of large ones that it is made of.
        at = ((at + 0.5) / smaller - 0.5).astype(np.float32)
        return cls(smaller, np.ascontiguousarray(at[..., 0]), np.ascontiguousarray(at[..., 1]), np.asarray(seen))

    def cells(self, bgr: NDArray[np.uint8]) -> Cells:
        """A frame over the cells."""
        height, width = (side // self.smaller for side in bgr.shape[:2])
        small = bgr[: height * self.smaller, : width * self.smaller]
        if self.smaller > 1:
            small = np.asarray(cv2.resize(small, (width, height), interpolation=cv2.INTER_AREA), np.uint8)
        shown = cv2.remap(small, self.columns, self.rows, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
        return Cells(np.asarray(cv2.cvtColor(shown, cv2.COLOR_BGR2RGB), np.uint8), self.seen)
