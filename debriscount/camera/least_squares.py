"""Damped least squares: small problems without the time that it takes to load scipy's."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from ..arrays import Floats

#: Unknowns to residuals of shape (N,) and their derivatives of shape (N, P).
Problem = Callable[[Floats], tuple[Floats, Floats]]
#: Steps at most, and the length by which the last one still changes the residuals, beside 1 and their own.
_STEPS, _CLOSE = 50, 1e-9


@dataclass(frozen=True, slots=True, eq=False)
class Solution:
    """Unknowns of shape (P,) with the least sum of squares; residuals (N,) and derivatives (N, P) there."""

    at: Floats
    residuals: Floats
    jacobian: Floats


def least_squares(problem: Problem, start: Floats) -> Solution:
    """Find the unknowns with the least sum of squared residuals.

    Parameters
    ----------
    problem : callable
        Takes unknowns of shape (P,); returns residuals of shape (N,) and their derivatives of shape (N, P).
    start : ndarray of shape (P,)
        Near enough for the sum to fall all the way.

    Returns
    -------
    Solution

    Notes
    -----
    Gauss-Newton steps, damped where they would not lower the sum, after Levenberg [1]_ and with Marquardt's [2]_
    measure of each unknown.

    References
    ----------
    .. [1] K. Levenberg, A method for the solution of certain non-linear problems in least squares, Quart. Appl. Math.
       2 (1944) 164-168.
    .. [2] D. W. Marquardt, An algorithm for least-squares estimation of nonlinear parameters, J. SIAM 11 (1963)
       431-441.
    """
    now = Solution(start, *problem(start))
    damping = 0.0
    for _ in range(_STEPS):
        damped = np.sqrt(damping) * np.diag(np.linalg.norm(now.jacobian, axis=0))
        aim = np.concatenate([-now.residuals, np.zeros(len(start))])
        step = np.linalg.lstsq(np.concatenate([now.jacobian, damped]), aim, rcond=None)[0]
        before = float(now.residuals @ now.residuals)
        if np.linalg.norm(now.jacobian @ step) <= _CLOSE * (1 + np.sqrt(before)):
            break
        ahead = Solution(now.at + step, *problem(now.at + step))
        if ahead.residuals @ ahead.residuals <= before:
            now, damping = ahead, damping / 10 if damping > 1e-6 else 0.0
        else:
            damping = max(10 * damping, 1e-4)
    return now
