"""Shares of debris as means over grains, and their intervals by counting."""

import numpy as np

from ..arrays import Floats
from .quantity import Z95

Interval = tuple[float, float]


def wilson(share: float, count: float) -> Interval:
    """95 % interval of a share, 0 to 1, of which ``count`` independent grains tell; the count need not be whole.

    Wilson's score interval [1]_, method 3 of Newcombe [2]_. Without a grain it is 0 to 1.

    References
    ----------
    .. [1] E. B. Wilson, J. Am. Stat. Assoc. 22 (1927) 209-212.
    .. [2] R. G. Newcombe, Statistics in Medicine 17 (1998) 857-872.
    """
    if count <= 0:
        return 0.0, 1.0
    square = Z95**2 / count
    middle = (share + square / 2) / (1 + square)
    half = np.sqrt(square * (share * (1 - share) + square / 4)) / (1 + square)
    return max(0.0, float(middle - half)), min(1.0, float(middle + half))


def effective_count(weights: Floats) -> float:
    """How many grains of equal weight tell as much as these (Kish, Survey Sampling, Wiley 1965, 11.7)."""
    square = float((weights**2).sum())
    return float(weights.sum()) ** 2 / square if square > 0 else 0.0


def mean_share(values: Floats, weights: Floats) -> tuple[float, Interval] | None:
    """Mean of what each grain says of a share, 0 to 1, and its 95 % interval.

    Parameters
    ----------
    values : ndarray of shape (N,)
        0 or 1, or estimates that may stray beyond them and whose mean alone is right.
    weights : ndarray of shape (N,)
        Areas, mm².

    Returns
    -------
    share : float
        Weighted mean, 0 to 1.
    interval95 : (float, float)
        Wilson's. Where the values scatter more than counting makes them, the rest is added, as squares of half widths.
        None where nothing is weighed.
    """
    total = float(weights.sum())
    if total <= 0:
        return None
    mean = float((weights * values).sum()) / total
    spread = float((weights * (values - mean) ** 2).sum()) / total
    share = min(max(mean, 0.0), 1.0)
    count = effective_count(weights)
    low, high = wilson(share, count)
    more = Z95 * float(np.sqrt(max(0.0, spread - share * (1 - share)) / count))
    down, up = np.hypot(share - low, more), np.hypot(high - share, more)
    return share, (max(0.0, float(share - down)), min(1.0, float(share + up)))
