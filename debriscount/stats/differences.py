"""Differences of means, and what many of them say together."""

import math
from collections.abc import Sequence

import numpy as np

from ..arrays import Floats
from .quantity import Quantity
from .repeats import mean_of


def welch(first: Sequence[float] | Floats, second: Sequence[float] | Floats) -> Quantity | None:
    """Difference of the means of two samples, first less second, whose scatters need not be alike.

    Parameters
    ----------
    first, second : sequence or ndarray, shape (N,) and (M,)
        Independent values.

    Returns
    -------
    Quantity or None
        u² = s₁²/n + s₂²/m, with the degrees of freedom of Welch [1]_. None where a sample has fewer than two values.

    References
    ----------
    .. [1] B. L. Welch, Biometrika 34 (1947) 28-35; F. E. Satterthwaite, Biometrics Bulletin 2 (1946) 110-114.
    """
    a, b = mean_of(first), mean_of(second)
    if a is None or b is None:
        return None
    total = a.u**2 + b.u**2
    below = a.u**4 / a.dof + b.u**4 / b.dof
    # Without any scatter the degrees of freedom are those of both samples; the interval has no width anyhow.
    return Quantity(a.value - b.value, math.sqrt(total), total**2 / below if below > 0 else a.dof + b.dof)


def paired(first: Sequence[float] | Floats, second: Sequence[float] | Floats) -> Quantity | None:
    """Mean of the differences, first less second, of values that belong together, both of shape (N,).

    What a pair has in common (the day, the lot, the battery) cancels. None of fewer than two pairs.
    """
    return mean_of(np.asarray(first, float) - np.asarray(second, float))


def holm(chances: Sequence[float]) -> list[float]:
    """Chances of several tests, adjusted such that one false alarm or more is as rare as each says.

    Parameters
    ----------
    chances : sequence of float
        0 to 1, of each test alone.

    Returns
    -------
    list of float
        In the same order; never below what went in, at most 1.

    Notes
    -----
    The smallest of m is multiplied by m, the next by m − 1, …, and none is smaller than one before it [1]_. It holds
    whatever the tests have in common.

    References
    ----------
    .. [1] S. Holm, Scandinavian Journal of Statistics 6 (1979) 65-70.
    """
    p: Floats = np.asarray(chances, float)
    order = np.argsort(p, kind="stable")
    stepped = np.minimum(1.0, np.maximum.accumulate(p[order] * np.arange(len(p), 0, -1)))
    adjusted = np.empty_like(p)
    adjusted[order] = stepped
    return [float(value) for value in adjusted]
