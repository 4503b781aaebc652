"""Whether photo and scale drift apart as time goes by."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from ..stats.quantity import Quantity, chance_of
from ..stats.regression import fit_line


@dataclass(frozen=True, slots=True)
class Drift:
    """How differences change with time.

    ``slope`` is in units of the difference per unit of time; its uncertainty follows the scatter where that is larger
    than stated. ``chance`` is how often chance alone gives as steep a slope. The last ``same_sign`` differences have
    the same sign, which chance alone does in ``same_sign_chance`` of cases.
    """

    slope: Quantity
    chance: float
    same_sign: int
    same_sign_chance: float


def drift(time: ArrayLike, difference: ArrayLike, u: ArrayLike) -> Drift:
    """Fit a weighted line to differences over time.

    Parameters
    ----------
    time : array_like of shape (N,)
        Any unit, in order; N at least 3, not all the same.
    difference : array_like of shape (N,)
        Photo less scale.
    u : array_like of shape (N,)
        Standard uncertainties of the differences, above 0.

    Returns
    -------
    Drift

    Raises
    ------
    ValueError
        Shapes do not go together, fewer than three differences, times all the same or out of order, or an uncertainty
        of 0.

    Notes
    -----
    The two-sided chance is Student's t of slope over its standard uncertainty. n differences of a symmetric
    distribution about 0 all have the same sign with probability 2 (1/2)ⁿ, the sign test [1]_.

    References
    ----------
    .. [1] W. J. Dixon, A. M. Mood, J. Am. Stat. Assoc. 41 (1946) 557-566.
    """
    t, d = np.asarray(time, float), np.asarray(difference, float)
    if t.ndim != 1 or len(t) < 3 or not (np.diff(t) >= 0).all() or t[0] == t[-1]:
        raise ValueError("a drift needs three or more times in order, not all the same")
    slope = fit_line(t - t.mean(), d, u).coefficient(1)
    same = _same_sign_at_end(d)
    return Drift(slope, chance_of(slope), same, min(1.0, 2 * 0.5**same))


def _same_sign_at_end(difference: np.ndarray) -> int:
    signs = np.sign(difference)
    if signs[-1] == 0:
        return 0
    others = np.flatnonzero(signs != signs[-1])
    return len(signs) - 1 - int(others[-1]) if len(others) else len(signs)
