"""Align one floor view to another on the floor's own texture."""

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from ..arrays import Floats, Mask
from ..at_once import over_strips
from ..stats.robust import robust_sd
from .grid import FloorGrid
from .resample import Shift, shift_basis

#: Contrast of a floor's texture below which it says nothing of two floors being one: debris and its shade leave a
#: hundredth or two even where most places are bare.
FAINT_TEXTURE = 0.03
#: Side of the squares over which the texture's pull is summed before the smooth shift is fitted, px.
TILE = 32


@dataclass(frozen=True, slots=True, eq=False)
class Pull:
    """What the texture says: normal equations of a local shift for each tile.

    ``gram`` of shape (N, 2, 2) and ``side`` of shape (N, 2) are in units of information (1/px² and
    1/px); ``places_mm`` of shape (N, 2) are the tiles' centres.
    """

    gram: Floats
    side: Floats
    places_mm: Floats


def texture_pull(reference: NDArray[np.float32], moving: NDArray[np.float32], usable: Mask, grid: FloorGrid) -> Pull:
    """Local shift equations between two views of the same floor.

    Parameters
    ----------
    reference, moving : ndarray of float32, shape (H, W)
        Brightness of both views, light matched (logarithm of luminance).
    usable : ndarray of bool, shape (H, W)
        Floor seen in both, no debris.
    grid : FloorGrid
        Raster of the views.

    Notes
    -----
    Gradient-based registration (Lucas and Kanade 1981) with the gradient averaged over both views;
    weights are Huber's, and the difference's own robust spread is the noise.
    """
    smooth_a, smooth_b = (cv2.GaussianBlur(v, (0, 0), 1.0) for v in (reference, moving))
    difference = smooth_b - smooth_a
    difference -= cv2.blur(difference, (4 * TILE + 1, 4 * TILE + 1))
    mean = 0.5 * (smooth_a + smooth_b)
    # Scharr's weights give 32 for a change of 1 from pixel to pixel.
    gx = cv2.Scharr(mean, cv2.CV_32F, 1, 0, scale=1 / 32)
    gy = cv2.Scharr(mean, cv2.CV_32F, 0, 1, scale=1 / 32)
    # Two pixels off the rim, as far as smoothing and gradient reach.
    inner = cv2.erode(usable.astype(np.uint8), np.ones((5, 5), np.uint8)).astype(bool)
    if inner.sum() < TILE**2:
        return Pull(np.zeros((0, 2, 2)), np.zeros((0, 2)), np.zeros((0, 2)))
    # So many tell a spread to a quarter of a percent.
    sample = difference[inner][:: max(1, int(inner.sum()) // 200_000)]
    # Off 0 for two views that are the same.
    spread = robust_sd(sample) + 1e-6
    rows, columns = grid.height_px // TILE, grid.width_px // TILE
    # For each tile gx gx, gx gy, gy gy, and gradient times difference, all weighted.
    sums = np.empty((rows, columns, 5))

    def work(some: slice) -> None:
        cut = np.s_[some.start * TILE : some.stop * TILE, : columns * TILE]
        off, x, y = difference[cut], gx[cut], gy[cut]
        weight = np.minimum(np.float32(1), np.float32(1.5 * spread) / np.maximum(np.abs(off), np.float32(1e-9)))
        weight *= inner[cut]
        wx, wy = weight * x, weight * y
        for k, product in enumerate((wx * x, wx * y, wy * y, wx * off, wy * off)):
            tiles = product.reshape(some.stop - some.start, TILE, columns, TILE)
            sums[some, :, k] = tiles.sum(axis=(1, 3), dtype=np.float64)

    over_strips(work, rows, columns * TILE**2)
    # Neighbouring pixels of a photo (demosaicing, JPEG, blur, this smoothing) share their noise: about
    # a 4 x 4 block carries one independent reading.
    xx, xy, yy, *by_side = np.moveaxis(sums / (16 * spread**2), -1, 0).reshape(5, -1)
    side = np.stack(by_side, axis=-1)
    gram = np.stack([xx, xy, xy, yy], axis=-1).reshape(-1, 2, 2)
    centre = grid.mm_per_px * (TILE - 1) / 2
    px, py = np.meshgrid(
        grid.x0_mm + centre + grid.mm_per_px * TILE * np.arange(columns),
        grid.y0_mm + centre + grid.mm_per_px * TILE * np.arange(rows),
    )
    return Pull(gram, side, np.stack([px.ravel(), py.ravel()], axis=-1))


def no_shift(grid: FloorGrid, degree: int = 3) -> Shift:
    """A shift of zero with polynomials of the given degree, scaled to the grid."""
    terms = (degree + 1) * (degree + 2) // 2
    right = grid.x0_mm + grid.mm_per_px * (grid.width_px - 1)
    bottom = grid.y0_mm + grid.mm_per_px * (grid.height_px - 1)
    center = ((grid.x0_mm + right) / 2, (grid.y0_mm + bottom) / 2)
    return Shift(np.zeros((2, terms)), center, max(right - grid.x0_mm, bottom - grid.y0_mm) / 2)


def improve_shift(shift: Shift, pull: Pull, mm_per_px: float, prior_mm: float) -> Shift:
    """One Gauss-Newton step of the smooth shift.

    Parameters
    ----------
    shift : Shift
        The shift with which the moving view was resampled.
    pull : Pull
        What texture says after that shift.
    mm_per_px : float
        Raster of the views.
    prior_mm : float
        How far off the markers alone may be; every coefficient has this prior standard deviation,
        so that a floor without texture leaves the markers' word.
    """
    basis = shift_basis(shift, pull.places_mm)
    terms = basis.shape[1]
    # Unknowns: the x coefficients, then the y coefficients.
    normal = np.einsum("nab,nt,nu->atbu", pull.gram, basis, basis).reshape(2 * terms, 2 * terms)
    right = np.einsum("na,nt->at", pull.side, basis).reshape(2 * terms)
    precision = (mm_per_px / prior_mm) ** 2
    current = shift.coefficients.ravel() / mm_per_px
    step = np.linalg.solve(normal + precision * np.eye(2 * terms), -right - precision * current)
    return replace(shift, coefficients=shift.coefficients + mm_per_px * step.reshape(2, terms))


def residual_mm(pull: Pull, mm_per_px: float) -> float | None:
    """Median length of what local shift is left, over the tiles whose texture tells it, mm.

    A tile tells its shift where the weaker direction's standard uncertainty is below a quarter of a
    pixel. None where no tile does.
    """
    if not len(pull.gram):
        return None
    weakest = np.linalg.eigvalsh(pull.gram)[:, 0]
    # The inverse of a variance of a quarter pixel squared.
    told = weakest > 1 / 0.25**2
    if told.sum() < 4:
        return None
    local = np.linalg.solve(pull.gram[told], pull.side[told][..., None])[..., 0]
    return float(np.median(np.hypot(local[:, 0], local[:, 1])) * mm_per_px)


@dataclass(frozen=True, slots=True, eq=False)
class Texture:
    """A view's texture between about 1 and 8 mm, at every ``EVERY`` rows and columns, and its single-pixel noise."""

    band: NDArray[np.float32]
    noise: float


#: Every so many rows and columns texture is compared: it is smooth over more than that.
EVERY = 4


def texture_of(view: NDArray[np.float32], mm_per_px: float) -> Texture:
    """Texture of a view, logarithm of brightness of shape (H, W)."""
    fine, coarse = _widths_px(mm_per_px)
    height, width = view.shape
    small = cv2.resize(view, (max(width // EVERY, 1), max(height // EVERY, 1)), interpolation=cv2.INTER_AREA)
    # What is as wide as 8 mm is as well averaged over cells first; 1 mm may be less than a cell.
    wide = cv2.GaussianBlur(small, (0, 0), coarse / EVERY)
    wide = cv2.resize(wide, (width, height), interpolation=cv2.INTER_LINEAR)[::EVERY, ::EVERY]
    band = cv2.GaussianBlur(view, (0, 0), fine)[::EVERY, ::EVERY] - wide
    return Texture(np.asarray(band, np.float32), _pixel_noise(view))


def _widths_px(mm_per_px: float) -> tuple[float, float]:
    # Blur of 1 and 8 mm; of 1.5 and 12 px at least, below which noise alone is left.
    return max(1 / mm_per_px, 1.5), max(8 / mm_per_px, 12.0)


def floor_likeness(reference: Texture, moving: Texture, usable: Mask, mm_per_px: float) -> float | None:
    """Correlation of two aligned views' texture between about 1 and 8 mm, or None where there is too little of it.

    Parameters
    ----------
    reference, moving : Texture
    usable : ndarray of bool, shape (H, W)
        Floor seen in both.
    mm_per_px : float
        Raster of the views.

    Notes
    -----
    Near 1 for two photos of one floor, near 0 for two floors. Debris is in it as well, so the middle
    half of the places, by how much the views differ, decide.
    """
    kept = usable[::EVERY, ::EVERY]
    # Of 500 places a correlation of 0 is within 0.09 in 95 of 100 cases.
    if kept.sum() < 500:
        return None
    a, b = reference.band[kept], moving.band[kept]
    # What single-pixel noise alone leaves in this band: a white noise of this standard deviation, blurred.
    noise = min(reference.noise, moving.noise) / (2 * np.sqrt(np.pi) * _widths_px(mm_per_px)[0])
    spread = [robust_sd(v) for v in (a, b)]
    # At five times the noise a twenty-fifth of the texture's variance is noise.
    if min(spread) < 5 * noise or min(spread) < FAINT_TEXTURE:
        return None
    inner = (np.abs(a) < 3 * spread[0]) & (np.abs(b) < 3 * spread[1])
    return float(np.corrcoef(a[inner], b[inner])[0, 1])


def _pixel_noise(view: NDArray[np.float32]) -> float:
    """Robust standard deviation of neighbouring pixels' difference over sqrt 2."""
    step = np.diff(view[::2, :], axis=1)[:, ::2]
    return float(robust_sd(step, 0.0) / np.sqrt(2))
