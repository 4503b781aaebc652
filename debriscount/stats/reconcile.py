"""Figures of several ways that must fit together, made to: generalised least squares.

Measured values are moved as little as their covariance allows until they meet conditions that the truth meets. This is
data reconciliation (VDI 2048 part 1, from memory); for two readings of one quantity it is their best linear unbiased
mean.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from ..arrays import Floats
from .quantity import Quantity


@dataclass(frozen=True, slots=True, eq=False)
class Reconciled:
    """Values that meet the conditions.

    ``values`` of shape (N,), ``covariance`` (N, N), and ``weights`` (N, N), by which each value measured enters each
    reconciled.
    """

    values: Floats
    covariance: Floats
    weights: Floats

    def quantity(self, i: int, measured: list[Quantity]) -> Quantity:
        """Value ``i`` with its uncertainty, and degrees of freedom after Welch and Satterthwaite (JCGM 100, G.4.1).

        ``measured`` are the values that went in; their correlations do not enter the degrees of freedom.
        """
        u = math.sqrt(max(float(self.covariance[i, i]), 0.0))
        parts = [(w * q.u) ** 4 / q.dof for w, q in zip(self.weights[i].tolist(), measured, strict=True)]
        return Quantity(float(self.values[i]), u, u**4 / sum(parts) if sum(parts) > 0 and u > 0 else math.inf)


def reconcile(
    values: ArrayLike, covariance: ArrayLike, conditions: ArrayLike, totals: ArrayLike | None = None
) -> Reconciled:
    """Move measured values until conditions hold.

    Parameters
    ----------
    values : array_like of shape (N,)
        As measured.
    covariance : array_like of shape (N, N)
        Of their errors.
    conditions : array_like of shape (M, N)
        A row of coefficients for each condition.
    totals : array_like of shape (M,), optional
        What the conditions sum to; 0 if not given.

    Returns
    -------
    Reconciled
        x' = x - V Aᵀ (A V Aᵀ)⁻¹ (A x - b), with covariance V - V Aᵀ (A V Aᵀ)⁻¹ A V.

    Raises
    ------
    ValueError
        Shapes do not go together.
    """
    x, v, a = (np.asarray(array, float) for array in (values, covariance, conditions))
    n = len(x)
    b = np.zeros(len(a)) if totals is None else np.asarray(totals, float)
    if x.ndim != 1 or v.shape != (n, n) or a.ndim != 2 or a.shape[1] != n or b.shape != (len(a),):
        raise ValueError(f"values {x.shape}, covariance {v.shape}, conditions {a.shape}, totals {b.shape} do not fit")
    gain = v @ a.T @ np.linalg.pinv(a @ v @ a.T, hermitian=True)
    weights = np.eye(n) - gain @ a
    return Reconciled(x - gain @ (a @ x - b), weights @ v, weights)
