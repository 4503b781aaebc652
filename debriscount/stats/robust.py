"""Scatter that a few wild values do not widen."""

import numpy as np
from numpy.typing import NDArray

#: Standard deviation of a normal distribution over its median absolute deviation, 1 / Φ⁻¹(3/4).
SD_OVER_MAD = 1.4826


def robust_sd(values: NDArray[np.floating] | NDArray[np.integer], about: float | None = None) -> float:
    """Standard deviation by the median absolute deviation from the median or, where it is known, the true middle.

    Parameters
    ----------
    values : ndarray
        At least one; of any shape.
    about : float, optional
        What they scatter about, in their unit.

    Returns
    -------
    float
        In the unit of the values.
    """
    off = values - (np.median(values) if about is None else about)
    return SD_OVER_MAD * float(np.median(np.abs(off)))
