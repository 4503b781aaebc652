"""Match the light of one floor view to another's.

Exposure, white balance, vignetting and the shade of a person beside the patch change between shots;
all of them multiply linear light by a factor that varies slowly over the floor.
"""

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from ..at_once import over_strips
from ..stats.robust import robust_sd

#: Side of the squares whose median ratio carries the first, stiff estimate, px.
TILE = 16
#: Darkest level that still carries a ratio: one step of an 8-bit sRGB photo (IEC 61966-2-1).
FAINTEST = 1 / 255 / 12.92


def stiff_gain(
    view: NDArray[np.float32], reference: NDArray[np.float32], usable: NDArray[np.bool_]
) -> NDArray[np.float32]:
    """Factor that brings a view to the reference's light: a quadratic surface in log light.

    Parameters
    ----------
    view, reference : ndarray of float32, shape (H, W, 3)
        Linear light.
    usable : ndarray of bool, shape (H, W)
        Floor seen in both; debris may be in it as long as most of it is bare.

    Returns
    -------
    ndarray of float32, shape (H, W, 3)

    Notes
    -----
    The surface goes through the medians of small squares and is fitted with Tukey's biweight, so
    heaps of debris and cast shadows do not pull it.
    """
    height, width = usable.shape
    rows, columns = height // TILE, width // TILE
    logs = _tile_medians(_log_light(_sampled(reference)) - _log_light(_sampled(view)), rows, columns)
    filled = _tile_medians(_sampled(usable)[..., None].astype(np.float32), rows, columns)[..., 0] > 0
    y, x = np.mgrid[0:rows, 0:columns]
    basis = quadratic_basis((x.ravel() + 0.5) * TILE, (y.ravel() + 0.5) * TILE, width, height)
    gain = np.empty_like(view)
    fx, fy = np.arange(width) + 0.5, np.arange(height) + 0.5
    across, down = (np.asarray(2 * f / size - 1, np.float32) for f, size in ((fx, width), (fy, height)))
    surfaces = [fit_quadratic(basis, np.asarray(logs[..., c].ravel(), float), filled.ravel()) for c in range(3)]

    def work(strip: slice) -> None:
        u, v = across, down[strip, None]
        for channel, surface in enumerate(surfaces):
            a = surface.astype(np.float32)  # of some tenths, so that the gain is good to a ten-millionth
            along = a[0] + a[2] * v + a[5] * v**2 + (a[1] + a[4] * v + a[3] * u) * u
            gain[strip, :, channel] = np.exp(along, out=along)

    over_strips(work, height, width)
    return gain


def fit_quadratic(
    basis: NDArray[np.float64], values: NDArray[np.float64], known: NDArray[np.bool_]
) -> NDArray[np.float64]:
    """Coefficients of a surface through most of the values, by Tukey's biweight.

    Parameters
    ----------
    basis : ndarray of shape (N, T)
        As `quadratic_basis` makes it.
    values : ndarray of shape (N,)
    known : ndarray of bool, shape (N,)
        The values to go by.
    """
    # From the median on: a plain fit to begin with would follow a few large heaps.
    middle = np.median(values[known]) if known.any() else 0.0
    weight = _biweight(np.asarray(values - middle, float), known)
    solution = np.zeros(basis.shape[1])
    for _ in range(8):
        weighted = basis * weight[:, None]
        # By normal equations, a tenth of the work: the terms are of one size and hardly alike. `lstsq` solves them even
        # where too few squares are known to tell all terms.
        solution = np.asarray(np.linalg.lstsq(weighted.T @ basis, weighted.T @ values, rcond=None)[0], float)
        weight = _biweight(values - basis @ solution, known)
    return solution


def _biweight(off: NDArray[np.float64], known: NDArray[np.bool_]) -> NDArray[np.float64]:
    """Tukey's weights of deviations, 0 where unknown."""
    # Off 0. At 4.685 Tukey's weights lose 5 % of efficiency where errors are normal (from memory).
    spread = robust_sd(off[known], 0.0) + 1e-4 if known.any() else 1.0
    return np.asarray(known * np.clip(1 - (off / (4.685 * spread)) ** 2, 0, None) ** 2, float)


def _sampled(values: NDArray[Any]) -> NDArray[Any]:
    """Every second pixel of either direction: a quarter of the work for nearly the same medians."""
    return values[::2, ::2]


def _log_light(view: NDArray[np.float32]) -> NDArray[np.float32]:
    return np.asarray(np.log(np.maximum(view, FAINTEST)), np.float32)


def _tile_medians(values: NDArray[np.float32], rows: int, columns: int) -> NDArray[np.float32]:
    """Medians of squares, of which ``values`` holds what `_sampled` leaves; shape (rows, columns, channels)."""
    half = TILE // 2
    cut = values[: rows * half, : columns * half]
    blocks = cut.reshape(rows, half, columns, half, -1).transpose(0, 2, 4, 1, 3)
    return np.asarray(np.median(blocks.reshape(rows, columns, cut.shape[-1], half * half), axis=-1))


def quadratic_basis(x: NDArray[np.float64], y: NDArray[np.float64], width: int, height: int) -> NDArray[np.float64]:
    """Terms of a quadratic surface at places of shape (N,) in a picture of that size, shape (N, 6)."""
    u, v = 2 * x / width - 1, 2 * y / height - 1
    return np.stack([np.ones_like(u), u, v, u * u, u * v, v * v], axis=-1)


def supple_gain(
    view: NDArray[np.float32], reference: NDArray[np.float32], bare: NDArray[np.bool_], reach_px: float
) -> NDArray[np.float32]:
    """Ratio of local means over bare floor: follows soft shadows that the stiff surface cannot.

    Parameters
    ----------
    view, reference : ndarray of float32, shape (H, W, 3)
        Linear light, already brought together by the stiff surface.
    bare : ndarray of bool, shape (H, W)
        Floor that carries no debris in either.
    reach_px : float
        Standard deviation of the Gaussian average; several grains, so that a grain's own shadow
        is not taken for the light of its surroundings.

    Returns
    -------
    ndarray of float32, shape (H, W, 3)
        1 where no bare floor is near.
    """
    factor = 8
    small = (bare.shape[1] // factor, bare.shape[0] // factor)
    weight = bare.astype(np.float32)[..., None]

    def local(v: NDArray[np.float32]) -> NDArray[np.float32]:
        shrunk = cv2.resize(v, small, interpolation=cv2.INTER_AREA)
        blurred = cv2.GaussianBlur(shrunk, (0, 0), reach_px / factor, borderType=cv2.BORDER_REFLECT)
        return np.asarray(blurred, np.float32)

    # A pull towards 1 where next to nothing is bare within reach.
    scarce = np.clip(1 - local(weight) / 0.1, 0, 1)
    pull = 0.1 * scarce[..., None] * local(reference)
    gain = (local(reference * weight) + pull) / (local(view * weight) + pull)
    full = cv2.resize(gain, (bare.shape[1], bare.shape[0]), interpolation=cv2.INTER_LINEAR)
    return np.asarray(full, np.float32)
