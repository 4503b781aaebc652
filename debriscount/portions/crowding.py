"""Cover by cells, and the crowding that makes portions of different density weigh alike."""

import math
from collections.abc import Sequence

import numpy as np

from ..arrays import Floats
from ..pickup.masses import GRAINS_PER_CELL, true_cover
from ..stats.quantity import coverage_factor95
from ..stats.regression import f_test
from .records import CrowdingFit, PortionShot

#: kappa that are tried, ends included. Random overlap is 1; what leans together in heaps may hide more, but beyond 2
#: a cell could not be seen covered by more than half.
KAPPAS = (0.0, 2.0)
STEPS = 201
#: Chance of calling crowding what is none.
SIGNIFICANT = 0.05
#: Columns, mass and one more, so that scatter is left to judge by.
LEAST_PORTIONS = 3


def cell_covers(x_mm: Floats, y_mm: Floats, area_mm2: Floats) -> tuple[Floats, float]:
    """Seen cover of each cell that holds grains, and the area of a cell, mm².

    The cells are those of `debriscount.pickup.masses.crowding_factor`, which applies what is learned here.
    """
    if len(area_mm2) == 0:
        return np.zeros(0), 1.0
    side = math.sqrt(2 * GRAINS_PER_CELL * float(np.median(area_mm2)))
    cell = np.stack([np.floor(x_mm / side), np.floor(y_mm / side)], axis=-1)
    _, index = np.unique(cell, axis=0, return_inverse=True)
    return np.bincount(index.ravel(), area_mm2) / side**2, side**2


def portion_area_mm2(shots: Sequence[PortionShot], crowding: float) -> float:
    """Area of a portion with crowding undone, mm²: the mean of its photos, less what the bare floor shows."""
    return float(np.mean([s.cell_mm2 * true_cover(s.cell_cover, crowding).sum() - s.bare_mm2 for s in shots]))


def area_by_crowding(shots: Sequence[PortionShot], crowding: float) -> float:
    """Derivative of a portion's area by kappa, mm²."""
    step = 1e-4
    low = max(crowding - step, 0.0)
    high = crowding + step
    return (portion_area_mm2(shots, high) - portion_area_mm2(shots, low)) / (high - low)


def usual_cover(shots: Sequence[PortionShot]) -> float:
    """Seen cover of the cell in which a bit of the portion lies, averaged over the portion's area."""
    return float(np.mean([(s.cell_cover**2).sum() / max(s.cell_cover.sum(), 1e-12) for s in shots]))


def fit_crowding(
    laid: Sequence[Sequence[PortionShot]], mass_mg: Floats, u_mg: Floats, usual: float
) -> CrowdingFit | None:
    """Find the crowding with which portions laid at different densities weigh alike per area.

    Parameters
    ----------
    laid : sequence of sequence of PortionShot, length N
        Photos by portion.
    mass_mg, u_mg : ndarray of shape (N,)
        Mass of each portion and the standard uncertainty of its distance from the fit.
    usual : float
        The kappa that holds unless another fits significantly better.

    Returns
    -------
    CrowdingFit or None
        None for fewer than ``LEAST_PORTIONS``.

    Notes
    -----
    For every kappa the area mass is fitted anew and chi2 taken; the interval is where chi2 exceeds its least value by
    less than the 95 % point of F(1, N - 2) times chi2 / (N - 2), or, where the scatter is within the stated
    uncertainties, by less than that of chi-square(1) (profile likelihood [1]_).

    References
    ----------
    .. [1] D. M. Bates, D. G. Watts, Nonlinear Regression Analysis and Its Applications, Wiley 1988, section 6.1 (from
       memory).
    """
    n = len(laid)
    if n < LEAST_PORTIONS:
        return None
    kappas = np.linspace(*KAPPAS, STEPS)
    chi2 = _chi2(laid, mass_mg, u_mg, kappas)
    best = _lowest(kappas, chi2)
    least, before = _chi2(laid, mass_mg, u_mg, np.array([best, usual]))
    ratio = float(least) / (n - 2)
    scale, dof = (ratio, float(n - 2)) if ratio > 1 else (1.0, math.inf)
    gained = max(float(before - least), 0.0)
    p = f_test(gained, 1, scale * (n - 2 if math.isfinite(dof) else 1), dof).p
    inside = kappas[chi2 - least <= scale * coverage_factor95(dof) ** 2]  # F(1, dof) is Student's t squared
    low, high = min(best, *inside), max(best, *inside)
    known = low > KAPPAS[0] and high < KAPPAS[1]
    u = (high - low) / 2 / coverage_factor95(dof) if known else math.inf
    return CrowdingFit(kappa=best, u=u, interval95=(float(low), float(high)), p=p, adopted=p < SIGNIFICANT)


def _chi2(laid: Sequence[Sequence[PortionShot]], mass_mg: Floats, u_mg: Floats, kappas: Floats) -> Floats:
    """Chi2 of the best line through the origin for each kappa."""
    x = np.array([[portion_area_mm2(shots, kappa) for shots in laid] for kappa in kappas]) / u_mg
    y = mass_mg / u_mg
    slope = (x * y).sum(axis=1) / (x**2).sum(axis=1)
    return np.asarray(((y - slope[:, None] * x) ** 2).sum(axis=1))


def _lowest(kappas: Floats, chi2: Floats) -> float:
    """Where a parabola through the least of the values and its neighbours is least; an end where that is least."""
    k = int(np.argmin(chi2))
    if k in (0, len(kappas) - 1):
        return float(kappas[k])
    left, middle, right = chi2[k - 1 : k + 2]
    bend = left - 2 * middle + right
    return float(kappas[k] + (kappas[1] - kappas[0]) * 0.5 * (left - right) / bend) if bend > 0 else float(kappas[k])


def crowding_columns(laid: Sequence[Sequence[PortionShot]], area_mass_mg_per_mm2: float, kappa: float) -> Floats:
    """Areas, mm², and the derivative by kappa of what the portions should weigh, mg; shape (N, 2)."""
    areas = [portion_area_mm2(shots, kappa) for shots in laid]
    bends = [area_mass_mg_per_mm2 * area_by_crowding(shots, kappa) for shots in laid]
    return np.stack([areas, bends], axis=1)
