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


def condensed(residuals: Floats, slopes: Floats) -> tuple[Floats, Floats]:
    """As many residuals as unknowns and one more that say the same: the same sum of squares near here.

    Parameters
    ----------
    residuals, slopes : ndarray of shape (N,) and (N, P)
        Many more residuals than unknowns.

    Returns
    -------
    ndarray of shape (P + 1,) and (P + 1, P)
        With slopes = Q R they are Qᵀ residuals and R; what no unknown can change stands in the last.

    Notes
    -----
    R is the root of the normal equations, several times faster than Q and R themselves. That squares how badly unknowns
    are told apart; measured in their own lengths they are told well enough.
    """
    if len(residuals) <= slopes.shape[1]:
        return residuals, slopes
    length = np.linalg.norm(slopes, axis=0)
    length[length == 0] = 1.0
    scaled = slopes / length
    # A hair on the diagonal holds unknowns that these residuals do not know.
    root = np.linalg.cholesky(scaled.T @ scaled + 1e-13 * np.eye(len(length)))
    part = np.linalg.solve(root, residuals @ scaled)
    rest = np.sqrt(max(float(residuals @ residuals - part @ part), 0.0))
    return np.append(part, rest), np.vstack([root.T * length, np.zeros(len(length))])


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
