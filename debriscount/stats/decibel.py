"""Levels in decibels.

A level is 10 lg of a ratio of powers, or 20 lg of one of sound pressures, whose squares go with power
(ISO 80000-8:2020, items 8-14 to 8-16, numbers from memory). Means of sound are means of power.
"""

import math

import numpy as np
from numpy.typing import ArrayLike


def energy_mean_db(levels: ArrayLike) -> float:
    """Level of the mean power of several levels, dB.

    Parameters
    ----------
    levels : array_like of shape (N,)
        Levels re one reference, dB; one or more.

    Returns
    -------
    float
        10 lg (1/N Σ 10^(L/10)): never below the mean of the numbers themselves, which a loud moment hardly moves.

    Raises
    ------
    ValueError
        There is no level, or one is not finite.
    """
    values = np.asarray(levels, float)
    if values.ndim != 1 or not len(values) or not np.isfinite(values).all():
        raise ValueError("levels must be one or more finite numbers")
    loudest = float(values.max())  # taken out first, so that no power overflows
    return loudest + 10 * math.log10(float(np.mean(10 ** ((values - loudest) / 10))))
