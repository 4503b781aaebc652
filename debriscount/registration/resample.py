"""Resample a photo into the floor view."""

from dataclasses import dataclass, replace
from typing import TypeVar

import cv2
import numpy as np
from numpy.typing import NDArray

from ..arrays import Floats, Mask
from ..camera.view import FloorToPhoto
from ..inputs.patch import Patch
from ..photo.colour import from_levels, linear_levels, linear_pixels, luminance_view
from .grid import FloorGrid

Pixel = TypeVar("Pixel", np.float32, np.uint8)
#: Pixels between the places at which the projection is computed exactly; in between it is linear.
#: A power of two, so that OpenCV's fixed-point steps of 1/32 px hit every place exactly.
NODE_STEP = 8
#: Most pixels a floor view may have: three shots and what is computed from them stay below 1.5 GB.
MOST_PIXELS = 6_000_000
#: A room may have more of them, but none finer than this, mm: what is strewn in rooms is some millimetres wide.
ROOM_MM = 1.0
#: Width of a small grain, px, from which a finer raster does not measure it better. The area of a digitised disc of
#: radius r px has standard deviation 0.6765 sqrt(r) px [1]_, 1.9 % of the area at r = 5 and less where pixels at its
#: rim count by how much of them it hides; over a hundred grains that is 0.2 %.
#:
#: .. [1] D. G. Kendall, On the number of lattice points inside a random oval, Quart. J. Math. 19 (1948) 1-26.
FINE_ENOUGH_PX = 10.0
#: The same in a photo that no other of the floor can be held against, where outlines alone part grains that touch and
#: tell them from the floor: at 10 px two of 17 touching lentils were lost, and 11 of 24 coins in uneven light.
FINE_ENOUGH_ALONE_PX = 20.0
#: Coarser than this grains alone never make a floor view, mm: gaps and strips are told to half a millimetre.
COARSEST_MM = 0.5
#: Photo pixels in one of the view from which on they are averaged; below, cubic interpolation passes over hardly any.
FINER = 1.2
#: Pixels of the view kept around it: markers alone place a shot to a few pixels, and interpolation needs two.
SPARE_PX = 16


def floor_grid(
    patch: Patch,
    views: tuple[FloorToPhoto, ...],
    rim_mm: float = 0.0,
    grain_mm: float | None = None,
) -> FloorGrid:
    """Raster for patch and margin at about the photos' own resolution.

    It reaches ``rim_mm`` farther on every side, so that grains at a wall's foot or at the margin's border are seen
    whole.
    A pixel spans what a photo pixel spans at the patch's centre in the coarsest shot, so no shot is
    enlarged there, and more where the view would otherwise have over ``MOST_PIXELS`` pixels finer than ``ROOM_MM`` or
    where the smallest grains, ``grain_mm`` across, are wider than ``FINE_ENOUGH_PX`` pixels, or
    ``FINE_ENOUGH_ALONE_PX`` in a single shot.
    """
    centre = np.array([[patch.width_mm / 2, patch.height_mm / 2]])
    native = max(float(view.mm_per_px(centre)[0]) for view in views)
    left, top, right, bottom = patch.outer_box_mm()
    left, top, right, bottom = left - rim_mm, top - rim_mm, right + rim_mm, bottom + rim_mm
    smallest = min(float(np.sqrt((right - left) * (bottom - top) / MOST_PIXELS)), ROOM_MM)
    pixels = FINE_ENOUGH_PX if len(views) > 1 else FINE_ENOUGH_ALONE_PX
    enough = min(grain_mm / pixels, COARSEST_MM) if grain_mm else 0.0
    step = max(native, smallest, enough)
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


@dataclass(frozen=True, slots=True, eq=False)
class NearbyLight:
    """Light of the part of a photo that a floor view shows, no finer than the view.

    ``light`` has shape (h, w) or (h, w, 3); a place of the photo, px, is ``scale * (place + 0.5 - low) - 0.5`` in it.
    """

    light: NDArray[np.float32]
    low: Floats
    scale: Floats

    def luminance(self) -> "NearbyLight":
        """The same with relative luminance in place of colour."""
        return replace(self, light=luminance_view(self.light))


def light_near(pixels: NDArray[np.uint8], view: FloorToPhoto, grid: FloorGrid) -> NearbyLight:
    """Linear light of what a photo shows of the floor view, averaged where the photo is finer than the view.

    Averaged light, not encoded values: a pixel half hidden by a grain has half of its light.
    """
    nodes = _nodes(view, grid, None)
    steps = np.diff(nodes, axis=1) / NODE_STEP
    finer = float(np.median(np.hypot(steps[..., 0], steps[..., 1])))
    spare = SPARE_PX * max(finer, 1.0)
    size = np.array(pixels.shape[1::-1])
    low = np.clip(np.floor(nodes.min(axis=(0, 1)) - spare), 0, size - 1).astype(int)
    high = np.clip(np.ceil(nodes.max(axis=(0, 1)) + spare), low + 1, size).astype(int)
    crop = pixels[low[1] : high[1], low[0] : high[0]]
    if finer < FINER:
        return NearbyLight(linear_pixels(np.ascontiguousarray(crop)), low.astype(float), np.ones(2))
    small = np.maximum(1, np.round((high - low) / finer)).astype(int)
    light = cv2.resize(linear_levels(np.ascontiguousarray(crop)), small.tolist(), interpolation=cv2.INTER_AREA)
    return NearbyLight(from_levels(np.asarray(light, np.uint16)), low.astype(float), small / (high - low))


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
    return look_up(light_near(pixels, view, grid), view, grid, shift)


def look_up(
    near: NearbyLight, view: FloorToPhoto, grid: FloorGrid, shift: Shift | None = None
) -> tuple[NDArray[np.float32], Mask]:
    """What `resample` gives, from the light that `light_near` gave for this view and grid."""
    return _looked_up(near.light, near.scale * (_nodes(view, grid, shift) + 0.5 - near.low) - 0.5, grid)


def photo_view(
    pixels: NDArray[np.uint8], view: FloorToPhoto, grid: FloorGrid, shift: Shift | None = None
) -> NDArray[np.uint8]:
    """Floor view for the eye, shape grid.shape + (3,): the photo's own sRGB pixels, for a grid about as fine."""
    return _looked_up(pixels, _nodes(view, grid, shift), grid)[0]


def _looked_up(picture: NDArray[Pixel], nodes: Floats, grid: FloorGrid) -> tuple[NDArray[Pixel], Mask]:
    """Cubic interpolation of a picture at places that are known at a grid's nodes; and where the picture shows them."""
    to_nodes = np.array([[1 / NODE_STEP, 0, 0], [0, 1 / NODE_STEP, 0]])
    lookup = cv2.warpAffine(
        nodes.astype(np.float32),
        to_nodes,
        (grid.width_px, grid.height_px),
        flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
        borderMode=cv2.BORDER_REPLICATE,
    )
    # OpenCV's stubs do not know that both maps may come in one array.
    found = cv2.remap(picture, lookup, None, cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE)  # type: ignore[call-overload]
    height, width = picture.shape[:2]
    return found, cv2.inRange(lookup, (0, 0), (width - 1, height - 1)) > 0


def _nodes(view: FloorToPhoto, grid: FloorGrid, shift: Shift | None) -> Floats:
    columns = np.arange(-(-grid.width_px // NODE_STEP) + 1) * NODE_STEP
    rows = np.arange(-(-grid.height_px // NODE_STEP) + 1) * NODE_STEP
    x, y = np.meshgrid(grid.x0_mm + grid.mm_per_px * columns, grid.y0_mm + grid.mm_per_px * rows)
    places = np.stack([x, y], axis=-1)
    if shift is not None:
        places = places + shift.at(places)
    return view.project(places)
