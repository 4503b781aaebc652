"""Light matched between photos that overlap: what each must be multiplied by, place by place."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from ..arrays import Floats, Mask
from ..stats.robust import robust_sd

#: Standard deviation of what one photo is brighter than another by, and of how that changes over it, as a logarithm:
#: automatic exposure, and the corners of a lens (common practice, no source).
EXPOSURE, SLOPE = 0.3, 0.15
#: Rounds of weighting, places of a pair at most, and standard deviations beyond which one counts less [Huber].
ROUNDS, MOST, FAR = 4, 4000, 1.5
#: A pixel as dark as this share of white says little of the light.
DARK = 0.01


@dataclass(frozen=True, slots=True, eq=False)
class Gain:
    """Logarithm of what a photo is multiplied by: polynomials of the second degree, shape (channels, 6).

    Places are measured from ``center_mm`` in units of ``half_mm``.
    """

    coefficients: Floats
    center_mm: tuple[float, float]
    half_mm: float

    def at(self, x_mm: NDArray[np.floating], y_mm: NDArray[np.floating]) -> NDArray[np.float32]:
        """Factor at places of shape (...), shape (..., channels)."""
        return np.exp(self.basis(x_mm, y_mm) @ self.coefficients.T).astype(np.float32)

    def basis(self, x_mm: NDArray[np.floating], y_mm: NDArray[np.floating]) -> Floats:
        """Monomials of places of shape (...), shape (..., 6)."""
        u, v = (x_mm - self.center_mm[0]) / self.half_mm, (y_mm - self.center_mm[1]) / self.half_mm
        return np.stack(np.broadcast_arrays(np.ones_like(u), u, v, u * u, u * v, v * v), axis=-1)


def match_light(
    views: Sequence[NDArray[np.float32]], seen: Sequence[Mask], x_mm: Floats, y_mm: Floats
) -> tuple[Gain, ...]:
    """Gains that make photos alike where they overlap.

    Parameters
    ----------
    views : sequence of ndarray of float32, shape (H, W, 3)
        Linear light of each photo on one raster.
    seen : sequence of ndarray of bool, shape (H, W)
        Where each shows the floor.
    x_mm, y_mm : ndarray of shape (W,) and (H,)
        Places of the raster.

    Returns
    -------
    tuple of Gain

    Notes
    -----
    Least squares on the logarithms' differences, weighted after Huber, so that grains which either photo shows from
    another side do not count. Exposure and slopes have normal priors about 0, which keep the mean of all.
    """
    flat = [Gain(np.zeros((3, 6)), *_middle(shows, x_mm, y_mm)) for shows in seen]
    rows: list[tuple[int, int, Floats, Floats, Floats]] = []
    for i, k in combinations(range(len(views)), 2):
        at = np.flatnonzero(seen[i] & seen[k])
        if not len(at):
            continue
        at = at[:: max(1, len(at) // MOST)]
        row, column = np.unravel_index(at, seen[i].shape)
        a, b = views[i][row, column], views[k][row, column]
        bright = (a.min(axis=1) > DARK) & (b.min(axis=1) > DARK)
        x, y = x_mm[column[bright]], y_mm[row[bright]]
        rows.append((i, k, flat[i].basis(x, y), flat[k].basis(x, y), np.log(b[bright] / a[bright]).astype(float)))
    prior = np.tile(1 / np.array([EXPOSURE, SLOPE, SLOPE, SLOPE, SLOPE, SLOPE]), len(views)) ** 2
    solved = [_solve(rows, channel, prior, len(views)) for channel in range(3)]
    return tuple(Gain(np.stack([s[k] for s in solved]), gain.center_mm, gain.half_mm) for k, gain in enumerate(flat))


def _middle(seen: Mask, x_mm: Floats, y_mm: Floats) -> tuple[tuple[float, float], float]:
    columns, rows = np.flatnonzero(seen.any(axis=0)), np.flatnonzero(seen.any(axis=1))
    if not len(columns):
        return (0.0, 0.0), 1.0
    left, right, top, bottom = x_mm[columns[0]], x_mm[columns[-1]], y_mm[rows[0]], y_mm[rows[-1]]
    return (float(left + right) / 2, float(top + bottom) / 2), max(float(right - left), float(bottom - top), 1.0) / 2


def _solve(rows: Sequence[tuple[int, int, Floats, Floats, Floats]], channel: int, prior: Floats, photos: int) -> Floats:
    """Coefficients of one channel, shape (photos, 6)."""
    at: Floats = np.zeros((photos, 6))
    for _ in range(ROUNDS):
        normal: Floats = np.diag(prior)
        right = np.zeros(6 * photos)
        for i, k, here, there, ratio in rows:
            off = here @ at[i] - there @ at[k] - ratio[:, channel]
            spread = max(robust_sd(off), 1e-3)
            # Neighbours share their noise; so few count as independent that priors matter where overlap is narrow.
            weight = np.minimum(1, FAR * spread / np.maximum(np.abs(off), 1e-9)) / (10 * spread**2)
            slopes = np.zeros((len(off), 6 * photos))
            slopes[:, 6 * i : 6 * i + 6], slopes[:, 6 * k : 6 * k + 6] = here, -there
            normal += np.asarray(slopes.T @ (weight[:, None] * slopes), float)
            right = right + slopes.T @ (weight * ratio[:, channel])
        at = np.asarray(np.linalg.solve(normal, right), float).reshape(photos, 6)
    return at
