"""Single differences that do not belong with the others."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from ..stats.quantity import Quantity, chance_of


@dataclass(frozen=True, slots=True)
class OddOne:
    """The difference that stands apart: its index, the mean of the others, and how often chance does as much."""

    index: int
    others: Quantity
    chance: float


def odd_one(differences: ArrayLike, u: ArrayLike) -> OddOne | None:
    """Find the difference that lies farthest from all others.

    Parameters
    ----------
    differences : array_like of shape (N,)
        Three or more; of fewer none can be told.
    u : array_like of shape (N,)
        Their standard uncertainties, above 0.

    Returns
    -------
    OddOne or None

    Notes
    -----
    Each is held against the weighted mean of the others (deletion residual). Where these scatter more than they state,
    their uncertainty is widened by Birge's ratio and Student's t is used; where the scatter is all there is, that is
    Grubbs' test [1]_. The chance is that of the farthest of N (Bonferroni).

    References
    ----------
    .. [1] F. E. Grubbs, Technometrics 11 (1969) 1-21; its critical values in ISO 5725-2, table 5.
    """
    d, s = np.asarray(differences, float), np.asarray(u, float)
    if len(d) < 3:
        return None
    ones = [_held_against_others(d, s, i) for i in range(len(d))]
    farthest = min(ones, key=lambda one: one.chance)
    return OddOne(farthest.index, farthest.others, min(1.0, len(d) * farthest.chance))


def _held_against_others(d: np.ndarray, u: np.ndarray, i: int) -> OddOne:
    rest, u_rest = np.delete(d, i), np.delete(u, i)
    weights = 1 / u_rest**2
    mean, u_mean = float(np.average(rest, weights=weights)), 1 / math.sqrt(float(weights.sum()))
    dof = len(rest) - 1
    birge = math.sqrt(float((((rest - mean) / u_rest) ** 2).sum()) / dof)
    wider = max(birge, 1.0)
    apart = Quantity(float(d[i]) - mean, wider * math.hypot(float(u[i]), u_mean), dof if birge > 1 else math.inf)
    return OddOne(i, Quantity(mean, wider * u_mean, apart.dof), chance_of(apart))
