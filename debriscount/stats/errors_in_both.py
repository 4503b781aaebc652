"""Straight lines through points of which both coordinates are measured."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from ..arrays import Floats

#: Directions tried before the iteration: the sum of squares has few minima, each much wider than a degree.
_DIRECTIONS = 180
_MOST_STEPS = 500
_SETTLED = 1e-13


@dataclass(frozen=True, slots=True, kw_only=True)
class FittedLine:
    """y = intercept + slope x, with standard uncertainties.

    ``chi2`` is the weighted sum of squares, near ``dof`` where the stated uncertainties are right.
    """

    intercept: float
    slope: float
    u_intercept: float
    u_slope: float
    covariance: float
    chi2: float
    dof: int


def york(x: ArrayLike, y: ArrayLike, u_x: ArrayLike, u_y: ArrayLike, correlation: ArrayLike = 0.0) -> FittedLine:
    """Fit a line where each point has its own standard uncertainties.

    Parameters
    ----------
    x, y : array_like of shape (N,)
        N at least 3.
    u_x, u_y : array_like of shape (N,) or a number
        Standard uncertainties, each 0 or more; not both 0 in one point.
    correlation : array_like of shape (N,) or a number
        Of the errors of x and y in each point, between −1 and 1.

    Returns
    -------
    FittedLine
        Uncertainties as the stated ones make them; where ``chi2`` is well above ``dof`` they are too small by
        √(chi2/dof).

    Raises
    ------
    ValueError
        Shapes do not go together, fewer than three points, a number is not finite or out of its range, or the points
        spread too little to tell a slope.

    Notes
    -----
    Equations 13 of [1]_, written with variances so that an uncertainty may be 0. They are iterated from the best of
    180 directions, since the sum of squares can have more than one minimum. Weighted Deming regression and
    functional-relationship estimation by maximum likelihood [2]_ make the same sum of squares least.

    References
    ----------
    .. [1] D. York, N. M. Evensen, M. López Martínez, J. De Basabe Delgado, Am. J. Phys. 72 (2004) 367-375.
    .. [2] B. D. Ripley, M. Thompson, Analyst 112 (1987) 377-383.
    """
    x, y = _points(x, y)
    u_x, u_y, r = (np.broadcast_to(np.asarray(a, float), x.shape) for a in (u_x, u_y, correlation))
    sound = (u_x >= 0) & (u_y >= 0) & (u_x + u_y > 0) & (np.abs(r) < 1) & np.isfinite(u_x + u_y)
    if not sound.all():
        raise ValueError("uncertainties must be finite, not negative, not both 0, and correlations between -1 and 1")
    vx, vy, cov = u_x**2, u_y**2, r * u_x * u_y
    slope = _first_slope(x, y, vx, vy, cov)
    for _ in range(_MOST_STEPS):
        previous, (slope, mean_x, mean_y, weight, beta) = slope, _york_step(x, y, vx, vy, cov, slope)
        if not math.isfinite(slope) or abs(slope - previous) <= _SETTLED * abs(slope):
            break
    settled = math.isfinite(slope) and abs(slope - previous) <= 1e-6 * max(abs(slope), 1e-300)
    if not settled:
        raise ValueError("the points spread too little, against their uncertainties, to tell a slope")
    return _york_line(x, y, slope, mean_x, mean_y, weight, beta)


def _york_step(
    x: Floats, y: Floats, vx: Floats, vy: Floats, cov: Floats, slope: float
) -> tuple[float, float, float, Floats, Floats]:
    """Next slope, means, weights and the adjusted x about its mean, from one slope."""
    weight = 1 / (vy + slope**2 * vx - 2 * slope * cov)
    mean_x, mean_y = np.average(x, weights=weight), np.average(y, weights=weight)
    dx, dy = x - mean_x, y - mean_y
    beta = weight * (dx * vy + slope * dy * vx - (slope * dx + dy) * cov)
    along = float((weight * beta * dx).sum())
    following = float((weight * beta * dy).sum()) / along if along else math.inf
    return following, float(mean_x), float(mean_y), weight, beta


def _york_line(
    x: Floats, y: Floats, slope: float, mean_x: float, mean_y: float, weight: Floats, beta: Floats
) -> FittedLine:
    intercept = mean_y - slope * mean_x
    adjusted = mean_x + beta
    middle = float(np.average(adjusted, weights=weight))
    spread = float((weight * (adjusted - middle) ** 2).sum())
    if spread <= 0:
        raise ValueError("the points spread too little, against their uncertainties, to tell a slope")
    u_slope = 1 / math.sqrt(spread)
    u_intercept = math.sqrt(1 / float(weight.sum()) + (middle * u_slope) ** 2)
    chi2 = float((weight * (y - slope * x - intercept) ** 2).sum())
    return FittedLine(
        intercept=intercept,
        slope=slope,
        u_intercept=u_intercept,
        u_slope=u_slope,
        covariance=-middle * u_slope**2,
        chi2=chi2,
        dof=len(x) - 2,
    )


def _first_slope(x: Floats, y: Floats, vx: Floats, vy: Floats, cov: Floats) -> float:
    """Slope of the direction with the least weighted sum of squares across it."""
    # Scaled axes, so that directions cover steep and flat slopes alike; never quite level or upright.
    unit = float(np.ptp(y) / np.ptp(x)) if np.ptp(x) and np.ptp(y) else 1.0
    angles = (np.arange(_DIRECTIONS) + 0.5) * np.pi / _DIRECTIONS
    slopes = unit * np.tan(angles)[:, None]
    weights = 1 / (vy + slopes**2 * vx - 2 * slopes * cov)
    across = y - slopes * x
    across = across - np.average(across, weights=weights, axis=1)[:, None]
    return float(slopes[(weights * across**2).sum(axis=1).argmin(), 0])


def _points(x: ArrayLike, y: ArrayLike) -> tuple[Floats, Floats]:
    x, y = np.asarray(x, float), np.asarray(y, float)
    if x.ndim != 1 or x.shape != y.shape or len(x) < 3:
        raise ValueError(f"a line needs three or more points, but x and y have shapes {x.shape} and {y.shape}")
    if not (np.isfinite(x).all() and np.isfinite(y).all()):
        raise ValueError("points must be finite")
    return x, y
