"""What one shot shows, reduced to the few numbers by which it is judged."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..arrays import Floats, Mask
from ..camera.view import FloorToPhoto
from ..inputs.patch import Patch
from ..photo.colour import linear_pixels
from ..photo.read import Photo
from ..stats.robust import SD_OVER_MAD

#: Cells along the patch's long side: finer than any light that is spread by a lamp, coarser than any grain.
CELLS = 48
#: Readings along the side of a cell: 64 in all, so that its quantiles are good to a twentieth.
READINGS = 8
#: Cells are no smaller than this many grains, so that a few grains are not all that a cell shows.
GRAINS_A_CELL = 3.0
#: Encoded value from which a reading is at the top of the scale: JPEG moves white by a step.
TOP = 254
#: Tiles of full-size pixels from which noise is read, along either side of the patch, and their side in px.
TILES, TILE_PX = 7, 48
#: Share of the tiles that count: where debris covers half of the patch, a quarter of them still shows little of it.
CALM = 0.25
#: Share of the readings of a cell that are darker, for debris that is lighter than the floor, for any and for debris
#: that is darker: debris that covers less than 80 % of a cell leaves one of the three to the floor.
QUANTILES = (0.2, 0.5, 0.8)


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class ShotLook:
    """One shot by cells of the patch.

    ``light`` of shape (3, rows, columns, 3) is each cell's linear light at ``QUANTILES``; ``inside`` of shape (rows,
    columns) is True where the cell lies in the patch, in the photo and off every marker's paper; ``clipped`` is the
    share of its readings that are at the top of the scale in at least two channels; ``shown`` is the share of all
    readings that the photo shows. ``noise`` of shape (3, 3) is the covariance of a pixel's noise in linear light, None
    where none could be read; ``tiles`` of shape (T, TILE_PX, TILE_PX, 3) are the calmest full-size cut-outs of the
    patch, linear light.
    """

    cell_mm: float
    light: Floats
    inside: Mask
    clipped: Floats
    shown: float
    noise: Floats | None
    tiles: NDArray[np.float32]

    @property
    def floor(self) -> Floats:
        """Linear light of the patch's middle cell by brightness, shape (3,)."""
        return np.asarray(np.median(self.light[1][self.inside], axis=0), float)


def cell_mm(patch: Patch, grain_mm: float) -> float:
    """Side of the cells of a patch with grains up to ``grain_mm``."""
    return max(max(patch.width_mm, patch.height_mm) / CELLS, GRAINS_A_CELL * grain_mm)


def look_at(photo: Photo, view: FloorToPhoto, patch: Patch, cell: float) -> ShotLook:
    """Read a shot by cells of ``cell`` mm."""
    rows, columns = max(2, round(patch.height_mm / cell)), max(2, round(patch.width_mm / cell))
    readings, seen = _read_cells(photo.pixels, view, patch, rows, columns)
    clear = _clear_of_paper(patch, rows, columns)
    encoded = np.quantile(readings, QUANTILES, axis=2, method="nearest").astype(np.uint8)
    tiles, noise = _calm_tiles(photo.pixels, view, patch)
    return ShotLook(
        cell_mm=cell,
        light=linear_pixels(encoded.reshape(-1, columns, 3)).reshape(encoded.shape).astype(float),
        inside=clear & seen.all(axis=2),
        clipped=((readings >= TOP).sum(axis=-1) >= 2).mean(axis=2),
        shown=float(seen.mean()),
        noise=noise,
        tiles=tiles,
    )


def _read_cells(
    pixels: NDArray[np.uint8], view: FloorToPhoto, patch: Patch, rows: int, columns: int
) -> tuple[NDArray[np.uint8], Mask]:
    """Readings of shape (rows, columns, READINGS², 3) and whether the photo shows each place."""
    x = (np.arange(columns * READINGS) + 0.5) * patch.width_mm / (columns * READINGS)
    y = (np.arange(rows * READINGS) + 0.5) * patch.height_mm / (rows * READINGS)
    places = np.round(view.project(np.stack(np.meshgrid(x, y), axis=-1))).astype(int)
    height, width = pixels.shape[:2]
    seen = (places >= 0).all(axis=-1) & (places[..., 0] < width) & (places[..., 1] < height)
    column, row = np.clip(places[..., 0], 0, width - 1), np.clip(places[..., 1], 0, height - 1)

    def by_cell(values: NDArray[np.generic]) -> NDArray[np.generic]:
        blocks = values.reshape(rows, READINGS, columns, READINGS, *values.shape[2:])
        return np.asarray(np.moveaxis(blocks, 2, 1).reshape(rows, columns, READINGS**2, *values.shape[2:]))

    return np.asarray(by_cell(pixels[row, column]), np.uint8), np.asarray(by_cell(seen), bool)


def _clear_of_paper(patch: Patch, rows: int, columns: int) -> Mask:
    """Cells whose middle is farther from every marker than half its side, as its paper reaches no farther."""
    x = (np.arange(columns) + 0.5) * patch.width_mm / columns
    y = ((np.arange(rows) + 0.5) * patch.height_mm / rows)[:, None]
    clear = patch.inside(x[None, :], y)
    for marker in patch.markers:
        off = np.maximum(np.abs(x - marker.center_mm[0]), np.abs(y - marker.center_mm[1]))
        clear &= off > float(np.ptp(marker.corners_mm()[:, 0]))
    return np.asarray(clear, bool)


def _calm_tiles(
    pixels: NDArray[np.uint8], view: FloorToPhoto, patch: Patch
) -> tuple[NDArray[np.float32], Floats | None]:
    """Tiles spread over the patch, the calmest of them, as debris lies in others; and their noise, shape (3, 3)."""
    share = (np.arange(TILES) + 0.5) / TILES
    x, y = np.meshgrid(share * patch.width_mm, share * patch.height_mm)
    corners = np.round(view.project(np.stack([x.ravel(), y.ravel()], axis=-1))).astype(int) - TILE_PX // 2
    height, width = pixels.shape[:2]
    whole = (corners >= 0).all(axis=1) & (corners[:, 0] + TILE_PX <= width) & (corners[:, 1] + TILE_PX <= height)
    cut = [linear_pixels(np.ascontiguousarray(pixels[r : r + TILE_PX, c : c + TILE_PX])) for c, r in corners[whole]]
    if not cut:
        return np.zeros((0, TILE_PX, TILE_PX, 3), np.float32), None
    tiles = np.asarray(cut, np.float32)
    covariances = noise_covariance(tiles)
    size = np.trace(covariances, axis1=1, axis2=2)
    calm = size <= np.quantile(size, CALM)
    return tiles[calm], np.asarray(covariances[calm].mean(axis=0))


def noise_covariance(tiles: NDArray[np.floating]) -> Floats:
    """Covariance of the channels' noise in tiles of shape (T, H, W, 3), shape (T, 3, 3).

    Notes
    -----
    The difference of two Laplacians leaves neither a slope nor a curve of the picture [1]_. Beyond three robust
    standard deviations lie grains' rims, which are left out. A floor's fine texture stays in it, but moves all
    channels together, along the floor's own colour.

    References
    ----------
    .. [1] J. Immerkær, Fast noise variance estimation, Computer Vision and Image Understanding 64 (1996) 300-302.
    """
    across = tiles[:, :, 2:] - 2 * tiles[:, :, 1:-1] + tiles[:, :, :-2]
    both = across[:, 2:] - 2 * across[:, 1:-1] + across[:, :-2]
    # The operator's weights have a sum of squares of 36.
    fine = (both / 6).reshape(len(tiles), -1, 3)
    spread = SD_OVER_MAD * np.median(np.abs(fine), axis=1, keepdims=True)
    calm = (np.abs(fine) <= 3 * spread).all(axis=2, keepdims=True)
    fine = np.where(calm, fine, 0)
    return np.asarray(np.einsum("tni,tnj->tij", fine, fine) / np.maximum(calm.sum(axis=1), 1)[:, :, None], float)
