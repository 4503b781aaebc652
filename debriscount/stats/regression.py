"""Weighted least squares of straight lines and of lines through the origin, with what tells whether to believe them."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from ..arrays import Floats
from .quantity import Quantity


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class LinearFit:
    """Weighted least squares of y on P columns, N points.

    ``coefficients`` has shape (P,), ``covariance`` shape (P, P), as the stated uncertainties of y make it or, where
    none were stated, the scatter about the fit. ``residuals`` are y less the fit, in the unit of y; ``leverage`` is the
    diagonal of the hat matrix and sums to P. ``chi2`` is the sum of (residual / u)², with u = 1 where none were stated.
    """

    coefficients: Floats
    covariance: Floats
    residuals: Floats
    leverage: Floats
    u_y: Floats
    chi2: float
    dof: int
    stated: bool

    @property
    def residual_sd(self) -> float:
        """Root of chi2 over the degrees of freedom: in the unit of y without stated uncertainties, else Birge's ratio.

        NaN without degrees of freedom.
        """
        return math.sqrt(self.chi2 / self.dof) if self.dof else math.nan

    @property
    def widening(self) -> float:
        """By what factor the scatter says that the covariance's roots are too small; never below 1."""
        return max(1.0, self.residual_sd) if self.stated and self.dof else 1.0

    @property
    def effective_dof(self) -> float:
        """Degrees of freedom of the uncertainties: those of the scatter where it decides, else infinite."""
        return self.dof if self.dof and (not self.stated or self.residual_sd > 1) else math.inf

    def coefficient(self, number: int) -> Quantity:
        """One coefficient, its standard uncertainty widened to what the scatter says."""
        u = math.sqrt(self.covariance[number, number]) * self.widening
        return Quantity(float(self.coefficients[number]), u, self.effective_dof)

    def predicted(self, row: ArrayLike, u_new: float = 0.0) -> Quantity:
        """What y is where the columns are ``row``, shape (P,), for one more point, itself uncertain by ``u_new``.

        The prediction interval is its ``interval95()``. What the scatter widens, it widens for the new point too.
        """
        a = np.asarray(row, float)
        u = math.sqrt(float(a @ self.covariance @ a) + u_new**2) * self.widening
        return Quantity(float(a @ self.coefficients), u, self.effective_dof)


@dataclass(frozen=True, slots=True)
class FTest:
    """Fisher's test of two mean squares: how often chance alone gives as large a ``f`` is ``p``."""

    f: float
    dof_above: float
    dof_below: float
    p: float


def least_squares(columns: ArrayLike, y: ArrayLike, u_y: ArrayLike | None = None) -> LinearFit:
    """Fit y by a sum of columns.

    Parameters
    ----------
    columns : array_like, shape (N, P)
        N at least P, of full rank.
    y : array_like, shape (N,)
        What is fitted.
    u_y : array_like, shape (N,), optional
        Standard uncertainty of each y, independent of the others; without it all y are as good as one another, and
        the scatter tells how good.

    Returns
    -------
    LinearFit

    Raises
    ------
    ValueError
        Shapes do not go together, an uncertainty is not positive, a number is not finite, or the columns are not
        independent.

    Notes
    -----
    With A and y divided by u, the covariance is (AᵀA)⁻¹ [1]_; without u it is that times chi2 / (N − P). By QR, not
    by normal equations, which square the condition number.

    References
    ----------
    .. [1] JCGM 100:2008, H.3 (unweighted); A. C. Aitken, On least squares and linear combination of observations,
       Proc. R. Soc. Edinburgh 55 (1936) 42-48 (from memory).
    """
    a, values = np.array(columns, float), np.array(y, float)
    u = np.ones(len(values)) if u_y is None else np.array(u_y, float)
    if a.ndim != 2 or values.shape != a.shape[:1] or u.shape != values.shape or a.shape[0] < a.shape[1]:
        raise ValueError(f"columns {a.shape}, y {values.shape} and u_y {u.shape} do not go together")
    if not (np.isfinite(a).all() and np.isfinite(values).all() and np.isfinite(u).all() and (u > 0).all()):
        raise ValueError("columns and y must be finite, u_y positive and finite")
    q, r = np.linalg.qr(a / u[:, None])
    diagonal = np.abs(np.diag(r))
    if diagonal.min() <= 1e-13 * diagonal.max():
        raise ValueError("the columns are not independent")
    coefficients = np.linalg.solve(r, q.T @ (values / u))
    # Once more on what is left: digits that cancelled in the first solution come back.
    coefficients += np.linalg.solve(r, q.T @ ((values - a @ coefficients) / u))
    residuals = values - a @ coefficients
    chi2, dof = float(((residuals / u) ** 2).sum()), a.shape[0] - a.shape[1]
    inverse = np.linalg.inv(r)
    covariance = inverse @ inverse.T
    if u_y is None:
        covariance *= chi2 / dof if dof else math.nan
    return LinearFit(
        coefficients=coefficients,
        covariance=covariance,
        residuals=residuals,
        leverage=(q**2).sum(axis=1),
        u_y=u,
        chi2=chi2,
        dof=dof,
        stated=u_y is not None,
    )


def fit_through_origin(x: ArrayLike, y: ArrayLike, u_y: ArrayLike | None = None) -> LinearFit:
    """Fit y = slope × x; see `least_squares`."""
    return least_squares(np.asarray(x, float)[:, None], y, u_y)


def fit_line(x: ArrayLike, y: ArrayLike, u_y: ArrayLike | None = None) -> LinearFit:
    """Fit y = intercept + slope × x, coefficients in this order; see `least_squares`."""
    values = np.asarray(x, float)
    return least_squares(np.stack([np.ones_like(values), values], axis=1), y, u_y)


def weighted_mean(quantities: Sequence[Quantity]) -> Quantity:
    """Mean of independent measurements of one thing, weighted by 1 / u².

    Parameters
    ----------
    quantities : sequence of Quantity
        At least one; every ``u`` greater than 0.

    Returns
    -------
    Quantity
        Where they differ by more than their uncertainties allow, its uncertainty grows by Birge's ratio [1]_.

    References
    ----------
    .. [1] R. T. Birge, The calculation of errors by the method of least squares, Phys. Rev. 40 (1932) 207-227 (from
       memory).
    """
    values, u = [q.value for q in quantities], [q.u for q in quantities]
    return least_squares(np.ones((len(values), 1)), values, u).coefficient(0)


def f_test(square_above: float, dof_above: float, square_below: float, dof_below: float) -> FTest:
    """Compare two sums of squares, each over its degrees of freedom.

    Parameters
    ----------
    square_above, square_below : float
        Sums of squares; a ``square_below`` of 0 makes f infinite (or 0 where both vanish).
    dof_above, dof_below : float
        Positive; ``dof_below`` infinite means that ``square_below`` is a known variance, once.

    Returns
    -------
    FTest
    """
    from scipy.special import chdtrc, fdtrc

    if math.isinf(dof_below):
        f = square_above / dof_above / square_below
        return FTest(f, dof_above, dof_below, float(chdtrc(dof_above, f * dof_above)))
    below = square_below / dof_below
    f = square_above / dof_above / below if below > 0 else (math.inf if square_above > 0 else 0.0)
    return FTest(f, dof_above, dof_below, float(fdtrc(dof_above, dof_below, f)) if math.isfinite(f) else 0.0)


def lack_of_fit(fit: LinearFit, groups: Sequence[int] | None = None) -> FTest | None:
    """Test whether points lie farther from the fit than chance takes them.

    Parameters
    ----------
    fit : LinearFit
        Of all points.
    groups : sequence of int, shape (N,), optional
        Points of one number are repeats: the same columns, and uncertainties that are alike.

    Returns
    -------
    FTest or None
        With repeats, the scatter of group means about the fit against that within groups [1]_. Without, chi2 against
        the stated uncertainties. None where there is neither, or no degrees of freedom to tell by.

    References
    ----------
    .. [1] N. R. Draper, H. Smith, Applied Regression Analysis, 3rd ed., Wiley 1998, section 2.1.
    """
    n, parameters = len(fit.residuals), len(fit.coefficients)
    if groups is not None:
        _, number = np.unique(np.asarray(groups), return_inverse=True)
        weight = 1 / fit.u_y**2
        means = np.bincount(number, weight * fit.residuals) / np.bincount(number, weight)
        within = float((weight * (fit.residuals - means[number]) ** 2).sum())
        between = float((weight * means[number] ** 2).sum())  # apart, since chi2 - within would cancel
        dof_above, dof_below = len(means) - parameters, n - len(means)
        if dof_above > 0 and dof_below > 0:
            return f_test(between, dof_above, within, dof_below)
    return f_test(fit.chi2, fit.dof, 1.0, math.inf) if fit.stated and fit.dof else None
