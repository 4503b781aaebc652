"""Resample a photo into the floor view."""

from collections.abc import Callable
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from ..arrays import Floats, Mask
from ..camera.view import FloorToPhoto
from ..inputs.patch import Patch
from ..photo.colour import linear_pixels, luminance_view
from .grid import FloorGrid

#: Pixels between the places at which the projection is computed exactly; in between it is linear.
#: A power of two, so that OpenCV's fixed-point steps of 1/32 px hit every place exactly.
NODE_STEP = 8
#: Most pixels a floor view may have: three shots and what is computed from them stay below 1.5 GB.
MOST_PIXELS = 6_000_000


def floor_grid(patch: Patch, views: tuple[FloorToPhoto, ...], rim_mm: float = 0.0) -> FloorGrid:
    """Raster for patch and margin at about the photos' own resolution.

    It reaches ``rim_mm`` farther on every side, so that grains at a wall's foot or at the margin's border are seen
    whole.
    A pixel spans what a photo pixel spans at the patch's centre in the coarsest shot, so no shot is
    enlarged there, and more where the view would otherwise have over ``MOST_PIXELS`` pixels.
    """
    centre = np.array([[patch.width_mm / 2, patch.height_mm / 2]])
    native = max(float(view.mm_per_px(centre)[0]) for view in views)
    left, top, right, bottom = patch.outer_box_mm()
    left, top, right, bottom = left - rim_mm, top - rim_mm, right + rim_mm, bottom + rim_mm
    smallest = float(np.sqrt((right - left) * (bottom - top) / MOST_PIXELS))
    step = max(native, smallest)
    width, height = int((right - left) / step), int((bottom - top) / step)
    return FloorGrid(left + step / 2, top + step / 2, step, height, width)


@dataclass(frozen=True, slots=True, eq=False)
class Shift:
    """A smooth shift of floor places, mm: polynomials in the place, from texture alignment.

    ``coefficients`` has shape (2, T); ``half_mm`` scales places to about -1 to 1 around ``center_mm``.
    """

    coefficients: Floats
    center_mm: tuple[float, float]
    half_mm: float

    def at(self, xy_mm: NDArray[np.floating]) -> Floats:
        """Shift at places of shape (..., 2), mm."""
        return shift_basis(self, xy_mm) @ self.coefficients.T


def shift_basis(shift: Shift, xy_mm: NDArray[np.floating]) -> Floats:
    """Monomials up to the degree that ``shift`` holds, shape (..., T)."""
    u = (np.asarray(xy_mm, float) - shift.center_mm) / shift.half_mm
    terms = shift.coefficients.shape[1]
    powers = [(i, n - i) for n in range(4) for i in range(n + 1)][:terms]
    return np.stack([u[..., 0] ** i * u[..., 1] ** j for i, j in powers], axis=-1)


def resample(
    pixels: NDArray[np.uint8], view: FloorToPhoto, grid: FloorGrid, shift: Shift | None = None
) -> tuple[NDArray[np.float32], Mask]:
    """Floor view of a photo in linear light.

    Parameters
    ----------
    pixels : ndarray of uint8, shape (H, W, 3)
        sRGB photo.
    view : FloorToPhoto
        Where floor places appear in it.
    grid : FloorGrid
        Raster of the floor view.
    shift : Shift, optional
        Added to every floor place before it is looked up.

    Returns
    -------
    floor_view : ndarray of float32, shape grid.shape + (3,)
        Linear light, 0 to 1 (a little beyond where the interpolation overshoots).
    seen : ndarray of bool, shape grid.shape
        False where the photo does not show the place.
    """
    return _looked_up(pixels, linear_pixels, view, grid, shift)


def resample_luminance(
    pixels: NDArray[np.uint8], view: FloorToPhoto, grid: FloorGrid, shift: Shift | None = None
) -> tuple[NDArray[np.float32], Mask]:
    """Relative luminance of what `resample` gives, shape grid.shape, in a third of the time; and what is seen."""
    return _looked_up(pixels, lambda crop: luminance_view(linear_pixels(crop)), view, grid, shift)


def _looked_up(
    pixels: NDArray[np.uint8],
    light: Callable[[NDArray[np.uint8]], NDArray[np.float32]],
    view: FloorToPhoto,
    grid: FloorGrid,
    shift: Shift | None,
) -> tuple[NDArray[np.float32], Mask]:
    """The light of a photo's pixels at the places of a grid, and where the photo shows them."""
    nodes = _nodes(view, grid, shift)
    low = np.maximum(np.floor(nodes.min(axis=(0, 1))).astype(int) - 3, 0)
    high = np.minimum(np.ceil(nodes.max(axis=(0, 1))).astype(int) + 4, (pixels.shape[1], pixels.shape[0]))
    if (high <= low).any():
        channels = light(pixels[:1, :1]).shape[2:]
        return np.zeros((*grid.shape, *channels), np.float32), np.zeros(grid.shape, bool)
    crop = light(np.ascontiguousarray(pixels[low[1] : high[1], low[0] : high[0]]))
    to_nodes = np.array([[1 / NODE_STEP, 0, 0], [0, 1 / NODE_STEP, 0]])
    lookup = cv2.warpAffine(
        (nodes - low).astype(np.float32),
        to_nodes,
        (grid.width_px, grid.height_px),
        flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
        borderMode=cv2.BORDER_REPLICATE,
    )
    # OpenCV's stubs do not know that both maps may come in one array.
    found = cv2.remap(crop, lookup, None, cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE)  # type: ignore[call-overload]
    height, width = crop.shape[:2]
    across, down = cv2.split(lookup)
    return found, (across >= 0) & (across <= width - 1) & (down >= 0) & (down <= height - 1)


def _nodes(view: FloorToPhoto, grid: FloorGrid, shift: Shift | None) -> Floats:
    columns = np.arange(-(-grid.width_px // NODE_STEP) + 1) * NODE_STEP
    rows = np.arange(-(-grid.height_px // NODE_STEP) + 1) * NODE_STEP
    x, y = np.meshgrid(grid.x0_mm + grid.mm_per_px * columns, grid.y0_mm + grid.mm_per_px * rows)
    places = np.stack([x, y], axis=-1)
    if shift is not None:
        places = places + shift.at(places)
    return view.project(places)
