"""Comparison of methods and lines with errors in both coordinates, against published examples."""

from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.optimize import least_squares

from debriscount.scale.agreement import en_score, verdict_of, zeta_score
from debriscount.scale.method_comparison import limits_of_agreement
from debriscount.stats.errors_in_both import york
from debriscount.stats.quantity import Quantity

DATA = Path(__file__).parents[1] / "data"


def columns(name: str) -> dict[str, NDArray[np.float64]]:
    table = np.genfromtxt(DATA / name, delimiter=",", names=True, skip_header=1)
    return {key: np.asarray(table[key], float) for key in table.dtype.names or ()}


@pytest.fixture(scope="module")
def meters() -> dict[str, NDArray[np.float64]]:
    return columns("bland_altman_1986_pefr.csv")


def test_bias_and_limits_of_two_flow_meters(meters: dict[str, NDArray[np.float64]]) -> None:
    """*Published*: Bland & Altman, Lancet i (1986) 307-310: bias -2.1, sd 38.8, limits -79.7 and 75.5 l/min.

    The paper takes 2 sd, and works the limits out from the rounded bias and sd, which moves them by up to 0.09.
    """
    found = limits_of_agreement(meters["large1"], meters["mini1"], covered=2)
    assert found.n == 17
    assert found.bias.value == pytest.approx(-2.1, abs=0.05)
    assert found.sd == pytest.approx(38.8, abs=0.05)
    assert (found.lower.value, found.upper.value) == pytest.approx((-79.7, 75.5), abs=0.05 + 0.09)


def test_intervals_of_bias_and_limits_of_two_flow_meters(meters: dict[str, NDArray[np.float64]]) -> None:
    """*Published*: as above: 95 % intervals -22.0 to 17.8, -114.3 to -45.1 and 40.9 to 110.1 l/min.

    For the limits the paper rounds 1/n + 4/(2 (n - 1)) to 3/n and t to 2.12, so that its intervals are the shorter ones
    by t (0.4288 - 0.4201) sd = 0.71; the rest is its rounding.
    """
    found = limits_of_agreement(meters["large1"], meters["mini1"], covered=2)
    assert found.bias.interval95() == pytest.approx((-22.0, 17.8), abs=0.05 + 0.02)
    assert found.lower.interval95() == pytest.approx((-114.3 - 0.71, -45.1 + 0.71), abs=0.2)
    assert found.upper.interval95() == pytest.approx((40.9 - 0.71, 110.1 + 0.71), abs=0.2)
    # The paper's own arithmetic, rounding after every step.
    bias, sd = round(found.bias.value, 1), round(found.sd, 1)
    half = 2.12 * round(float(np.sqrt(3 / 17)) * sd, 1)
    assert (bias - 2 * sd - half, bias - 2 * sd + half) == pytest.approx((-114.3, -45.1), abs=0.05)
    assert (bias + 2 * sd - half, bias + 2 * sd + half) == pytest.approx((40.9, 110.1), abs=0.05)


def test_repeated_readings_of_two_flow_meters(meters: dict[str, NDArray[np.float64]]) -> None:
    """*Published*, figures from memory: as above: repeatability 2 x 21.6 and 28.2 l/min, corrected sd 37.7."""
    large, mini = (np.stack([meters[f"{name}1"], meters[f"{name}2"]], axis=1) for name in ("large", "mini"))
    found = limits_of_agreement(large, mini)
    # sd of the difference of two readings is the root of 2 times that of one.
    assert found.within[0] is not None
    assert found.within[1] is not None
    assert (np.sqrt(2) * found.within[0], np.sqrt(2) * found.within[1]) == pytest.approx((21.6, 28.2), abs=0.05)
    assert found.sd == pytest.approx(37.7, abs=0.05)


def test_correlation_is_not_agreement(meters: dict[str, NDArray[np.float64]]) -> None:
    """*Published*, from memory: as above: r = 0.94 beside limits of agreement of ± 78 l/min."""
    assert np.corrcoef(meters["large1"], meters["mini1"])[0, 1] == pytest.approx(0.94, abs=0.005)


def test_line_with_errors_in_both_coordinates() -> None:
    """*Published*: Pearson's data with York's weights: intercept 5.479910224, slope -0.480533407 (B. C. Reed,
    Am. J. Phys. 60 (1992) 59); standard errors 0.294970735 and 0.057985009 by York et al. 2004; chi2/8 = 1.4833.
    """
    data = columns("pearson_york.csv")
    found = york(data["x"], data["y"], 1 / np.sqrt(data["wx"]), 1 / np.sqrt(data["wy"]))
    assert found.intercept == pytest.approx(5.479910224, abs=5e-10)
    assert found.slope == pytest.approx(-0.480533407, abs=5e-10)
    assert (found.u_intercept, found.u_slope) == pytest.approx((0.294970735, 0.057985009), abs=5e-10)
    assert found.chi2 / found.dof == pytest.approx(1.4833, abs=5e-5)


def test_functional_relationship_of_two_assays() -> None:
    """*Published*: Ripley & Thompson, Analyst 112 (1987) 377, as the CRAN package deming quotes it: intercept
    0.106448, slope 0.973000; chi2/n = 1.27.

    The slope is 0.972988 here and in the fit of every true point below; 0.973000 seems rounded on the way.
    """
    data = columns("ripley_thompson_1987_arsenate.csv")
    found = york(data["aas"], data["aes"], data["se_aas"], data["se_aes"])
    assert found.intercept == pytest.approx(0.106448, abs=5e-7)
    assert found.slope == pytest.approx(0.973000, abs=2e-5)
    assert found.chi2 / 30 == pytest.approx(1.27, abs=0.005)


@pytest.mark.parametrize("name", ["pearson", "arsenate"])
def test_line_and_its_uncertainties_against_a_fit_of_every_true_point(name: str) -> None:
    """*Independent*: scipy.optimize.least_squares with the true x of every point as unknowns."""
    if name == "pearson":
        data = columns("pearson_york.csv")
        x, y, u_x, u_y = data["x"], data["y"], 1 / np.sqrt(data["wx"]), 1 / np.sqrt(data["wy"])
    else:
        data = columns("ripley_thompson_1987_arsenate.csv")
        x, y, u_x, u_y = data["aas"], data["aes"], data["se_aas"], data["se_aes"]

    def residuals(unknown: NDArray[np.float64]) -> NDArray[np.float64]:
        true_x = unknown[2:]
        return np.concatenate([(x - true_x) / u_x, (y - unknown[0] - unknown[1] * true_x) / u_y])

    fit = least_squares(residuals, [*np.polyfit(x, y, 1)[::-1], *x], xtol=1e-15, ftol=1e-15, gtol=1e-15)
    jacobian = np.asarray(fit.jac, float)
    covariance = np.linalg.inv(jacobian.T @ jacobian)[:2, :2]
    found = york(x, y, u_x, u_y)
    assert (found.intercept, found.slope) == pytest.approx(tuple(fit.x[:2]), rel=1e-6)
    assert (found.u_intercept, found.u_slope) == pytest.approx(tuple(np.sqrt(np.diag(covariance))), rel=1e-5)
    assert found.covariance == pytest.approx(covariance[0, 1], rel=1e-5)
    assert found.chi2 == pytest.approx(2 * fit.cost, rel=1e-9)


def test_equal_uncertainties_against_principal_axis() -> None:
    """*Independent*: with equal uncertainties the line is the first principal axis, by numpy's singular values; data of
    a test of the CRAN package deming, x = 1..10, for which 2.5324712 and -1.3285917 were worked out.
    """
    x = np.arange(1.0, 11)
    y = 2.3 * x + np.array([0, -1, 2, -3, 4, -5, 6, -7, 8, -5]) / 2
    found = york(x, y, 1.0, 1.0)
    axis = np.linalg.svd(np.stack([x - x.mean(), y - y.mean()], axis=1))[2][0]
    assert found.slope == pytest.approx(axis[1] / axis[0], rel=1e-10)
    assert (found.slope, found.intercept) == pytest.approx((2.5324712, -1.3285917), abs=5e-8)


def test_scores_by_definition() -> None:
    """*Published* definitions: ISO 13528:2022, 9.4 to 9.7 (x 103 against 100; U 4 and 2 with k = 2)."""
    assert en_score(103, 100, 4, 2) == pytest.approx(3 / np.sqrt(20), rel=1e-15)
    assert en_score(103, 100, 4, 2) == pytest.approx(0.6708, abs=5e-5)
    assert zeta_score(103, 100, 2, 1) == pytest.approx(1.3416, abs=5e-5)
    words = [verdict_of(Quantity(80 + z, 1.0), Quantity(80.0, 0.0)) for z in (-2.0, 2.0001, -2.9999, 3.0)]
    assert words == ["agree", "doubtful", "doubtful", "disagree"]
