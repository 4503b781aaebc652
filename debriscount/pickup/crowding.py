"""Crowding: debris that lies over debris hides area, so seen cover falls short of true cover."""

import numpy as np
from numpy.typing import NDArray

#: A cell holds about this many grains when they lie side by side.
GRAINS_PER_CELL = 10


def true_cover(seen: NDArray[np.floating], crowding: float) -> NDArray[np.float64]:
    """True cover q behind seen cover p.

    Parameters
    ----------
    seen : ndarray
        Seen cover, 0 to 1.
    crowding : float
        kappa; 0 is a single layer, 1 random overlap (the Boolean model).

    Returns
    -------
    ndarray
        Summed grain area per floor area, at least ``seen``.

    Notes
    -----
    Inverse of p = (1 - exp(-kappa q)) / kappa; kappa = 1 is the area fraction of the Boolean model,
    p = 1 - exp(-q) [1]_. Seen cover beyond what the model reaches is held just below it.

    References
    ----------
    .. [1] S. N. Chiu, D. Stoyan, W. S. Kendall, J. Mecke, Stochastic Geometry and its Applications, 3rd
       ed., Wiley 2013, section 3.1.
    """
    p = np.asarray(seen, float)
    if crowding == 0:
        return p
    return np.asarray(-np.log1p(-np.minimum(crowding * p, 0.98)) / crowding)


def crowding_factor(
    x_mm: NDArray[np.float64], y_mm: NDArray[np.float64], area_mm2: NDArray[np.float64], crowding: float
) -> NDArray[np.float64]:
    """True over seen area for each grain, from the cover of the cell that it lies in; shape (N,).

    Cells are squares of about ten grains' area side by side at a cover of one half.
    """
    if crowding == 0 or len(area_mm2) == 0:
        return np.ones(len(area_mm2))
    side = float(np.sqrt(2 * GRAINS_PER_CELL * np.median(area_mm2)))
    cell = np.stack([np.floor(x_mm / side), np.floor(y_mm / side)], axis=-1)
    _, index = np.unique(cell, axis=0, return_inverse=True)
    index = index.ravel()
    seen = np.bincount(index, area_mm2) / side**2
    factor = true_cover(seen, crowding) / np.maximum(seen, 1e-12)
    return np.asarray(factor[index])
