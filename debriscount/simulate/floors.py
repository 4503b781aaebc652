"""The clean floor as a raster in linear light, one maker a kind of floor."""

from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise

import cv2
import numpy as np
from numpy.typing import NDArray

from ..arrays import Floats, Image
from ..photo.colour import srgb_to_linear
from ..registration.grid import FloorGrid
from .spec import Floor, Rgb
from .stamp import Outlines, stamps

#: Colour, second colour and unit (mm) of each kind where the spec leaves them out; invented.
_USUAL: dict[str, tuple[Rgb, Rgb, float]] = {
    "plain": ((176, 174, 168), (176, 174, 168), 1.0),
    "planks": ((188, 150, 108), (74, 54, 38), 118.0),
    "tile": ((168, 168, 164), (112, 108, 102), 300.0),
    "terrazzo": ((196, 192, 184), (120, 112, 104), 4.0),
    "carpet": ((128, 122, 116), (128, 122, 116), 1.6),
}


def floor_raster(floor: Floor, grid: FloorGrid, debris_srgb: list[Rgb], rng: np.random.Generator) -> Image:
    """Make the clean floor.

    Parameters
    ----------
    floor : Floor
        Kind, colours, contrast, unit.
    grid : FloorGrid
        Where the raster lies.
    debris_srgb : list of colours
        Colours that some specks of terrazzo share.
    rng : Generator
        Source of chance.

    Returns
    -------
    ndarray of float32, shape (H, W, 3)
        Linear light of a white-lit floor, 0 to 1.
    """
    color, second, unit = _USUAL[floor.kind]
    plan = _Plan(
        grid=grid,
        contrast=floor.contrast,
        base=_linear(floor.color_srgb or color),
        second=_linear(floor.second_srgb or second),
        unit_mm=floor.unit_mm or unit,
        debris=[_linear(color) for color in debris_srgb],
        debris_specks=floor.debris_specks,
        rng=rng,
    )
    makers: dict[str, Callable[[_Plan], Image]] = {
        "plain": _plain,
        "planks": _planks,
        "tile": _tile,
        "terrazzo": _terrazzo,
        "carpet": _carpet,
    }
    return np.clip(makers[floor.kind](plan), 0, 1)


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class _Plan:
    """What a maker of a floor needs; colours in linear light."""

    grid: FloorGrid
    contrast: float
    base: Image
    second: Image
    unit_mm: float
    debris: list[Image]
    debris_specks: float
    rng: np.random.Generator

    def noise(self, *layers: tuple[float, float, float]) -> Image:
        """Sum of layers (strength, length along x, length along y in mm), times the contrast."""
        total = np.zeros(self.grid.shape, np.float32)
        for strength, along_x, along_y in layers:
            total += np.float32(strength * self.contrast) * noise(self.grid, (along_x, along_y), self.rng)
        return total


def usual_color(floor: Floor) -> Rgb:
    """Return the floor's own colour, given or usual."""
    return floor.color_srgb or _USUAL[floor.kind][0]


def _linear(color: Rgb) -> Image:
    return srgb_to_linear(np.array(color) / 255).astype(np.float32)


def noise(grid: FloorGrid, length_mm: tuple[float, float], rng: np.random.Generator) -> Image:
    """Smooth noise of unit variance whose features are about ``length_mm`` (x, y) long, shape (H, W)."""
    cells = [
        max(4, int(np.ceil(n * grid.mm_per_px / length)) + 3)
        for n, length in zip((grid.width_px, grid.height_px), length_mm, strict=True)
    ]
    cells = [min(c, n + 3) for c, n in zip(cells, (grid.width_px, grid.height_px), strict=True)]
    small = rng.standard_normal((cells[1], cells[0]), dtype=np.float32)
    large = cv2.resize(small, (grid.width_px, grid.height_px), interpolation=cv2.INTER_CUBIC)
    return np.asarray(large / max(float(large[::7, ::7].std()), 1e-6), np.float32)


def _textured(base: Image, log_light: Image) -> Image:
    return np.asarray(np.exp(log_light)[..., None] * base, np.float32)


def _lines(coords_mm: Floats, mm_per_px: float, places_mm: Floats, width_mm: float) -> Image:
    """Share of each raster row (or column) that lines of a width cover, shape (n,)."""
    nearest = places_mm[np.abs(coords_mm[:, None] - places_mm).argmin(axis=1)]
    low = np.maximum(coords_mm - mm_per_px / 2, nearest - width_mm / 2)
    high = np.minimum(coords_mm + mm_per_px / 2, nearest + width_mm / 2)
    return np.asarray(np.clip(high - low, 0, None) / mm_per_px, np.float32)


def _multiples(coords_mm: Floats, unit_mm: float, start_mm: float) -> Floats:
    first, last = np.floor((coords_mm[[0, -1]] - start_mm) / unit_mm)
    return start_mm + unit_mm * np.arange(first - 1, last + 3)


def _plain(plan: _Plan) -> Image:
    return _textured(plan.base, plan.noise((0.03, 180, 180), (0.02, 14, 14), (0.02, 1, 1)))


def _planks(plan: _Plan) -> Image:
    grid, rng = plan.grid, plan.rng
    x, y = grid.x_mm(), grid.y_mm()
    grain = plan.noise((0.06, 70, 1), (0.05, 220, 4), (0.02, 9, 0.6), (0.05, 400, 22))
    edges = _multiples(y, plan.unit_mm, float(rng.uniform(0, plan.unit_mm)))
    joints = np.broadcast_to(_lines(y, grid.mm_per_px, edges, 0.8)[:, None], grid.shape).copy()
    image = _textured(plan.base, grain)
    for low, high in pairwise(edges):
        rows = slice(*np.searchsorted(y, [low, high]))
        cuts = _multiples(x, 900.0, float(rng.uniform(0, 900)))
        joints[rows] = np.maximum(joints[rows], _lines(x, grid.mm_per_px, cuts, 0.8))
        for left, right in pairwise(cuts):
            light, warm = plan.contrast * rng.standard_normal(2) * (0.1, 0.02)
            tint = np.exp(np.array([light + warm, light, light - 1.5 * warm], np.float32))
            image[rows, slice(*np.searchsorted(x, [left, right]))] *= tint
    _knots(image, plan)
    image += joints[..., None] * (plan.second - image)
    return image


def _knots(image: Image, plan: _Plan) -> None:
    grid, rng = plan.grid, plan.rng
    count = rng.poisson(6 * grid.width_px * grid.height_px * grid.mm_per_px**2 / 1e6)
    center = rng.random((count, 2)) * (grid.width_px, grid.height_px)
    radius = rng.uniform(2.5, 6, count)
    outlines = _blobs(grid, center, radius, rng, aspect=1.7)
    depth = min(0.4 * plan.contrast, 0.9)
    for stamp in stamps(grid.shape, outlines, soft_px=1.6 * radius / grid.mm_per_px):
        image[stamp.rows, stamp.columns] *= 1 - (np.float32(depth) * stamp.share)[..., None]


def _tile(plan: _Plan) -> Image:
    grid, rng, unit = plan.grid, plan.rng, plan.unit_mm
    x, y = grid.x_mm(), grid.y_mm()
    image = _textured(plan.base, plan.noise((0.06, 160, 160), (0.04, 45, 45), (0.03, 12, 12), (0.02, 2, 2)))
    hue = np.exp(plan.noise((0.015, 90, 90)))
    image[..., 0] *= hue
    image[..., 2] /= hue
    xs, ys = (_multiples(c, unit, float(rng.uniform(0, unit))) for c in (x, y))
    for low, high in pairwise(ys):
        for left, right in pairwise(xs):
            rows, columns = slice(*np.searchsorted(y, [low, high])), slice(*np.searchsorted(x, [left, right]))
            image[rows, columns] *= np.float32(np.exp(0.04 * plan.contrast * rng.standard_normal()))
    across = _lines(x, grid.mm_per_px, xs, 5.0)
    joints = np.maximum(_lines(y, grid.mm_per_px, ys, 5.0)[:, None], across[None, :])
    image += joints[..., None] * (_textured(plan.second, plan.noise((0.15, 0.7, 0.7))) - image)
    return image


def _terrazzo(plan: _Plan) -> Image:
    grid, rng, unit = plan.grid, plan.rng, plan.unit_mm
    image = _textured(plan.base, plan.noise((0.03, 90, 90), (0.03, 0.8, 0.8)))
    area = grid.width_px * grid.height_px * grid.mm_per_px**2
    count = min(rng.poisson(0.12 * area / (np.pi / 4 * unit**2 * 1.4)), 60_000)
    radius = unit / 2 * np.exp(0.35 * rng.standard_normal(count))
    half_way = np.float32(0.5) * (plan.second + plan.base)
    palette = [plan.second, half_way, np.minimum(plan.base * np.float32(1.35), np.float32(0.95))]
    like_debris = rng.random(count) < (plan.debris_specks if plan.debris else 0)
    pick, other = rng.integers(len(palette), size=count), rng.integers(max(len(plan.debris), 1), size=count)
    light = np.exp(0.12 * rng.standard_normal(count)).astype(np.float32)
    strength = np.float32(min(plan.contrast, 1.0))
    outlines = _blobs(grid, rng.random((count, 2)) * (grid.width_px, grid.height_px), radius, rng, aspect=1.3)
    for stamp in stamps(grid.shape, outlines):
        n = stamp.number
        color = light[n] * (plan.debris[other[n]] if like_debris[n] else palette[pick[n]])
        box = image[stamp.rows, stamp.columns]
        box += (strength * stamp.share)[..., None] * (color - box)
    return image


def _carpet(plan: _Plan) -> Image:
    unit = plan.unit_mm
    pile = np.exp(plan.noise((0.22, unit, unit), (0.15, unit / 2.5, unit / 2.5), (0.06, 60, 60)))[..., None]
    # A second yarn where the noise is high; the same colour unless the spec gives another.
    yarn = np.clip(noise(plan.grid, (1.5 * unit, 1.5 * unit), plan.rng) - 1, 0, 1)[..., None]
    return np.asarray(pile * (plan.base + yarn * (plan.second - plan.base)), np.float32)


def _blobs(grid: FloorGrid, center_px: Floats, radius_mm: Floats, rng: np.random.Generator, aspect: float) -> Outlines:
    """Irregular outlines on the raster."""
    count = len(radius_mm)
    angle = rng.uniform(0, np.pi, count)
    a, b = radius_mm / grid.mm_per_px * np.sqrt(aspect), radius_mm / grid.mm_per_px / np.sqrt(aspect)
    cos, sin = np.cos(angle), np.sin(angle)
    to_unit = np.stack([np.stack([cos / a, sin / a], -1), np.stack([-sin / b, cos / b], -1)], -2)
    waves: NDArray[np.complex128] = np.empty((count, 4), complex)
    waves.real = np.clip(0.05 * rng.standard_normal((count, 4)), -0.09, 0.09)
    waves.imag = np.clip(0.05 * rng.standard_normal((count, 4)), -0.09, 0.09)
    return Outlines(center_px, to_unit, waves, np.pi * a * b * (1 + (np.abs(waves) ** 2).sum(axis=1) / 2))
