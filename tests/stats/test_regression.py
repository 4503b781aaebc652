import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from debriscount.stats.quantity import Quantity
from debriscount.stats.regression import f_test, fit_line, fit_through_origin, lack_of_fit, least_squares, weighted_mean


def test_a_weighted_line_through_the_origin_by_hand() -> None:
    """Two points (1, 2 ± 1) and (2, 3 ± 0.5): slope = (2 + 24) / (1 + 16), u² = 1/17, chi2 from the residuals."""
    fit = fit_through_origin([1, 2], [2, 3], [1, 0.5])
    assert fit.coefficients == pytest.approx([26 / 17])
    assert fit.covariance[0, 0] == pytest.approx(1 / 17)
    assert fit.leverage == pytest.approx([1 / 17, 16 / 17])
    assert fit.chi2 == pytest.approx((2 - 26 / 17) ** 2 + ((3 - 52 / 17) / 0.5) ** 2)
    assert fit.dof == 1


def test_a_known_uncertainty_stands_until_the_scatter_contradicts_it() -> None:
    quiet = fit_through_origin([1, 1, 1], [9.9, 10, 10.1], [1, 1, 1]).coefficient(0)
    assert (quiet.u, quiet.dof) == pytest.approx((1 / math.sqrt(3), math.inf))
    # By hand: residuals -3, 0, 3, so that Birge's ratio is sqrt(18 / 2) = 3.
    loud = fit_through_origin([1, 1, 1], [7, 10, 13], [1, 1, 1]).coefficient(0)
    assert (loud.u, loud.dof) == pytest.approx((3 / math.sqrt(3), 2))


def test_a_prediction_holds_the_fit_and_the_new_point() -> None:
    fit = fit_through_origin([1, 2], [1, 2], [0.1, 0.1])
    new = fit.predicted([10.0], 0.3)
    assert new.value == pytest.approx(10)
    assert new.u == pytest.approx(math.hypot(10 * 0.1 / math.sqrt(5), 0.3))
    assert new.interval95() == pytest.approx((10 - 1.959964 * new.u, 10 + 1.959964 * new.u))


def test_95_percent_of_intervals_hold_the_slope() -> None:
    """2,000 calibrations of five points; the count of those that hold the truth is binomial, sd 0.5 %."""
    rng = np.random.default_rng(7)
    x = np.array([2.0, 5, 10, 20, 40])
    held_known, held_scatter = 0, 0
    for _ in range(2000):
        y = 1.7 * x + rng.normal(0, 0.02 * x)
        low, high = fit_through_origin(x, y, 0.02 * x).coefficient(0).interval95()
        held_known += low <= 1.7 <= high
        flat = 1.7 * x + rng.normal(0, 0.5, 5)
        low, high = fit_through_origin(x, flat).coefficient(0).interval95()
        held_scatter += low <= 1.7 <= high
    assert held_scatter / 2000 == pytest.approx(0.95, abs=0.015)
    # Widened where chance scatters beyond what is known, never narrowed: a little over 95 %.
    assert 0.94 <= held_known / 2000 <= 0.995


def test_weights_are_those_of_a_general_library() -> None:
    """Independent: numpy.polyfit with w = 1 / u and unscaled covariance."""
    rng = np.random.default_rng(3)
    x, u = rng.uniform(0, 10, 12), rng.uniform(0.1, 2, 12)
    y = 3 - 0.5 * x + rng.normal(0, u)
    fit = fit_line(x, y, u)
    coefficients, covariance = np.polyfit(x, y, 1, w=1 / u, cov="unscaled")
    assert fit.coefficients[::-1] == pytest.approx(coefficients)
    assert fit.covariance[::-1, ::-1] == pytest.approx(covariance)


def test_a_weighted_mean_by_hand() -> None:
    """10 ± 1 and 12 ± 2: (10 + 3) / 1.25 and 1 / sqrt(1.25); 10 ± 1 and 20 ± 1: Birge's ratio is sqrt(50)."""
    mean = weighted_mean([Quantity(10, 1), Quantity(12, 2)])
    assert (mean.value, mean.u, mean.dof) == pytest.approx((10.4, 1 / math.sqrt(1.25), math.inf))
    apart = weighted_mean([Quantity(10, 1), Quantity(20, 1)])
    assert (apart.value, apart.u, apart.dof) == pytest.approx((15, math.sqrt(50 / 2), 1))
    one = weighted_mean([Quantity(3, 0.5)])
    assert (one.value, one.u) == pytest.approx((3, 0.5))


@given(st.lists(st.floats(0.1, 100), min_size=2, max_size=20), st.floats(0.01, 50))
def test_an_exact_proportion_is_found_whatever_the_weights(x: list[float], slope: float) -> None:
    u = np.linspace(0.5, 2, len(x))
    fit = fit_through_origin(x, slope * np.array(x), u)
    assert fit.coefficients[0] == pytest.approx(slope, rel=1e-9)
    assert fit.leverage.sum() == pytest.approx(1)


def test_lack_of_fit_against_repeats_by_hand() -> None:
    """Means 2.1 and 3.9 at x = 1 and 2, repeats ± 0.1: slope = 19.8 / 10; lack = 2 (0.12² + 0.06²), pure = 0.04."""
    fit = fit_through_origin([1, 1, 2, 2], [2.0, 2.2, 3.8, 4.0])
    test = lack_of_fit(fit, [0, 0, 1, 1])
    assert test is not None
    assert (test.dof_above, test.dof_below) == (1, 2)
    assert test.f == pytest.approx(2 * (0.12**2 + 0.06**2) / (0.04 / 2))


def test_lack_of_fit_against_stated_uncertainties() -> None:
    x = np.array([1.0, 2, 4, 8])
    bent = lack_of_fit(fit_through_origin(x, x**1.2, 0.01 * x))
    straight = lack_of_fit(fit_through_origin(x, x + 0.005, 0.01 * x))
    assert bent is not None
    assert straight is not None
    assert bent.p < 1e-6
    assert straight.p > 0.5
    # Nothing to tell by: one point, or scatter alone without repeats.
    assert lack_of_fit(fit_through_origin([1.0], [2.0], [0.1])) is None
    assert lack_of_fit(fit_through_origin([1.0, 2], [2.0, 3])) is None
    # Groups of one each are no repeats, so that the stated uncertainties decide.
    fit = fit_through_origin(x, x**1.2, 0.01 * x)
    assert lack_of_fit(fit, [0, 1, 2, 3]) == bent


def test_f_of_two_mean_squares() -> None:
    """Published: upper 5 % points of F(2, 10) = 4.1028 and chi-square(1) = 3.8415 in any table."""
    assert f_test(2 * 4.1028, 2, 10, 10).p == pytest.approx(0.05, abs=1e-5)
    assert f_test(3.8415, 1, 1.0, math.inf).p == pytest.approx(0.05, abs=1e-5)
    assert f_test(1.0, 1, 0.0, 3).f == math.inf
    assert f_test(1.0, 1, 0.0, 3).p == 0
    assert f_test(0.0, 1, 0.0, 3).p == 1


@pytest.mark.parametrize(
    ("columns", "y", "u", "message"),
    [
        ([[1.0], [2.0]], [1.0], None, "do not go together"),
        ([[1.0, 2.0]], [1.0], None, "do not go together"),
        ([[1.0], [2.0]], [1.0, 2.0], [1.0, 0.0], "u_y positive"),
        ([[1.0], [2.0]], [1.0, math.nan], None, "must be finite"),
        ([[1.0, 2.0], [2.0, 4.0], [3.0, 6.0]], [1.0, 2.0, 3.0], None, "not independent"),
        ([[0.0], [0.0]], [1.0, 2.0], None, "not independent"),
    ],
)
def test_what_cannot_be_fitted_is_refused(
    columns: list[list[float]], y: list[float], u: list[float] | None, message: str
) -> None:
    with pytest.raises(ValueError, match=message):
        least_squares(columns, y, u)
