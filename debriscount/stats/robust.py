"""Scatter that a few wild values do not widen."""

from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

Value = TypeVar("Value", bound=np.generic)

#: Standard deviation of a normal distribution over its median absolute deviation, 1 / Φ⁻¹(3/4).
SD_OVER_MAD = 1.4826
#: So many tell a median to a 250th of the standard deviation (by 1.25 / sqrt(N), for normal errors).
ENOUGH = 100_000


def sampled(values: NDArray[Value]) -> NDArray[Value]:
    """Every so many of the values, shape (N, ...), evenly: ``ENOUGH`` to twice as many, or all where they are fewer."""
    return values[:: max(1, len(values) // ENOUGH)]


def robust_sd(values: NDArray[np.floating] | NDArray[np.integer], about: float | None = None) -> float:
    """Standard deviation by the median absolute deviation from the median or, where it is known, the true middle.

    Parameters
    ----------
    values : ndarray
        At least one; of any shape. Of very many a sample is taken.
    about : float, optional
        What they scatter about, in their unit.

    Returns
    -------
    float
        In the unit of the values.
    """
    values = sampled(np.ravel(values))
    off = values - (np.median(values) if about is None else about)
    return SD_OVER_MAD * float(np.median(np.abs(off)))
