import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from debriscount.stats.errors_in_both import york

X = np.array([61.0, 70, 74, 80, 85, 91, 97])
Y = np.array([62.1, 69.2, 75.0, 79.1, 86.3, 90.5, 97.8])


@given(st.floats(0.05, 20))
def test_equal_uncertainties_make_demings_line(ratio: float) -> None:
    """*Published*: W. E. Deming, Statistical Adjustment of Data, Wiley 1943, chapter 11."""
    found = york(X, Y, 0.5, 0.5 * np.sqrt(ratio))
    (s_xx, s_xy), (_, s_yy) = np.cov(X, Y)
    slope = (s_yy - ratio * s_xx + np.hypot(s_yy - ratio * s_xx, 2 * np.sqrt(ratio) * s_xy)) / (2 * s_xy)
    assert (found.slope, found.intercept) == pytest.approx((slope, Y.mean() - slope * X.mean()), rel=1e-8)


def test_exact_x_makes_york_weighted_least_squares() -> None:
    """*Independent*: numpy.polyfit with weights 1/u and unscaled covariance."""
    u = np.linspace(0.3, 1.2, len(X))
    found = york(X, Y, 0.0, u)
    (slope, intercept), covariance = np.polyfit(X, Y, 1, w=1 / u, cov="unscaled")
    assert (found.slope, found.intercept) == pytest.approx((slope, intercept), rel=1e-10)
    assert (found.u_slope, found.u_intercept) == pytest.approx(tuple(np.sqrt(np.diag(covariance))), rel=1e-8)
    assert found.covariance == pytest.approx(covariance[0, 1], rel=1e-8)


@given(st.floats(0.2, 5), st.floats(0.1, 3), st.floats(0.1, 3))
def test_exchanging_the_axes_turns_the_slope_over(scale: float, u_x: float, u_y: float) -> None:
    one, other = york(X, scale * Y, u_x, scale * u_y), york(scale * Y, X, scale * u_y, u_x)
    assert one.slope * other.slope == pytest.approx(1, rel=1e-8)
    assert one.chi2 == pytest.approx(other.chi2, rel=1e-8)


def test_stated_uncertainties_are_those_of_repeated_fits() -> None:
    """2 000 lines through the same true points, with 1.6 % as standard error of a standard deviation."""
    rng = np.random.default_rng(6)
    u_x, u_y = np.linspace(0.3, 0.8, 12), np.linspace(0.9, 0.4, 12)
    x = np.linspace(60, 98, 12)
    y = 3 + 0.96 * x
    lines = [york(rng.normal(x, u_x), rng.normal(y, u_y), u_x, u_y) for _ in range(2000)]
    slopes = np.array([line.slope for line in lines])
    assert slopes.mean() == pytest.approx(0.96, abs=4 * slopes.std() / np.sqrt(2000) + 5e-4)
    assert slopes.std() == pytest.approx(np.mean([line.u_slope for line in lines]), rel=0.06)
    assert np.mean([line.chi2 for line in lines]) == pytest.approx(10, rel=0.05)


def test_correlated_errors_move_the_line() -> None:
    free, tied = york(X, Y, 2.0, 2.0), york(X, Y, 2.0, 2.0, 0.9)
    assert free.slope != pytest.approx(tied.slope, rel=1e-5)


def test_a_sheared_plane_has_correlated_errors_and_the_same_line() -> None:
    """With y' = y + x the errors of x and y' are correlated where those of x and y are not; the slope grows by 1."""
    u_x, u_y = 0.8, 0.5
    u_sum = np.hypot(u_x, u_y)
    plain, sheared = york(X, Y, u_x, u_y), york(X, X + Y, u_x, u_sum, u_x / u_sum)
    assert (sheared.slope, sheared.intercept) == pytest.approx((plain.slope + 1, plain.intercept), rel=1e-7)
    assert sheared.chi2 == pytest.approx(plain.chi2, rel=1e-7)


def test_york_finds_the_least_of_all_directions() -> None:
    """Points of one cluster and one far off have a second, worse minimum across it."""
    x, y = np.array([0.0, 0.1, -0.1, 5.0]), np.array([3.0, -3.0, 1.0, 0.2])
    u_x, u_y = np.array([0.1, 0.1, 0.1, 3.0]), np.array([4.0, 4.0, 4.0, 0.1])
    found = york(x, y, u_x, u_y)
    slopes = np.tan(np.linspace(-1.5707, 1.5707, 20_001))[:, None]
    weights = 1 / (u_y**2 + slopes**2 * u_x**2)
    across = y - slopes * x
    across = across - np.average(across, weights=weights, axis=1)[:, None]
    assert found.chi2 is not None
    assert found.chi2 <= (weights * across**2).sum(axis=1).min() + 1e-6


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"x": X[:2], "y": Y[:2]}, "three or more points, but x and y have shapes"),
        ({"x": X[:4]}, "three or more points"),
        ({"y": np.append(Y[:-1], np.inf)}, "points must be finite"),
        ({"u_x": -1.0}, "uncertainties must be finite, not negative"),
        ({"u_x": 0.0, "u_y": 0.0}, "not both 0"),
        ({"correlation": 1.0}, "correlations between -1 and 1"),
        ({"x": np.full(7, 80.0), "y": np.full(7, 80.0)}, "spread too little"),
    ],
)
def test_what_makes_no_line_is_refused(change: dict[str, object], words: str) -> None:
    given_points = {"x": X, "y": Y, "u_x": 1.0, "u_y": 1.0, **change}
    with pytest.raises(ValueError, match=words):
        york(**given_points)  # type: ignore[arg-type]
