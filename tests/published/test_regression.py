"""Least squares against certified and published results; the data in tests/data say where they come from.

*Published*: NIST/ITL Statistical Reference Datasets Norris, NoInt1 and SiRstv (certified to 15 digits); JCGM 100:2008,
example H.3 (results quoted from memory, to the digits printed).
"""

import csv
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from debriscount.stats.regression import f_test, fit_line, fit_through_origin, lack_of_fit, least_squares

DATA = Path(__file__).parents[1] / "data"


def columns(name: str) -> dict[str, NDArray[np.float64]]:
    """Columns of a table of numbers whose first line tells its source."""
    with (DATA / name).open(encoding="utf-8", newline="") as lines:
        assert next(lines).startswith("# Source:")
        rows = list(csv.DictReader(lines))
    return {key: np.array([float(row[key]) for row in rows]) for key in rows[0]}


def test_norris() -> None:
    """Certified; the slope's condition number costs double precision three of its sixteen digits."""
    data = columns("nist_norris.csv")
    fit = fit_line(data["x"], data["y"])
    intercept, slope = fit.coefficient(0), fit.coefficient(1)
    assert len(data["y"]) == 36
    assert intercept.value == pytest.approx(-0.262323073774029, rel=1e-12)
    assert intercept.u == pytest.approx(0.232818234301152, rel=1e-12)
    assert slope.value == pytest.approx(1.00211681802045, rel=1e-14)
    assert slope.u == pytest.approx(0.429796848199937e-03, rel=1e-12)
    assert fit.residual_sd == pytest.approx(0.884796396144373, rel=1e-12)
    assert (fit.dof, slope.dof) == (34, 34)
    about_mean = float(((data["y"] - data["y"].mean()) ** 2).sum())
    assert 1 - fit.chi2 / about_mean == pytest.approx(0.999993745883712, rel=1e-14)
    assert f_test(about_mean - fit.chi2, 1, fit.chi2, 34).f == pytest.approx(5436385.54079785, rel=1e-11)


def test_no_intercept_1() -> None:
    """Certified."""
    data = columns("nist_noint1.csv")
    fit = fit_through_origin(data["x"], data["y"])
    slope = fit.coefficient(0)
    assert slope.value == pytest.approx(2.07438016528926, rel=1e-14)
    assert slope.u == pytest.approx(0.165289256198347e-01, rel=1e-13)
    assert fit.residual_sd == pytest.approx(3.56753034006338, rel=1e-13)
    assert fit.dof == 10
    squares = float((data["y"] ** 2).sum())
    assert 1 - fit.chi2 / squares == pytest.approx(0.999365492298663, rel=1e-14)
    assert f_test(squares - fit.chi2, 1, fit.chi2, 10).f == pytest.approx(15750.25, rel=1e-12)


def test_lack_of_fit_of_a_common_mean_is_one_way_analysis_of_variance() -> None:
    """Certified: SiRstv. Its data are stiff (196.0 to 196.4), hence fewer digits."""
    data = columns("nist_sirstv.csv")
    fit = least_squares(np.ones((25, 1)), data["resistance"])
    test = lack_of_fit(fit, data["instrument"].astype(int).tolist())
    assert test is not None
    assert (test.dof_above, test.dof_below) == (4, 20)
    assert test.f == pytest.approx(1.18046237440255, rel=1e-11)
    assert fit.chi2 == pytest.approx(5.11462616e-02 + 2.1663656e-01, rel=1e-11)
    # Independent: scipy.stats.f_oneway, scipy 1.17.
    assert test.p == pytest.approx(0.3494, abs=5e-5)


def test_calibration_line_of_a_thermometer_and_what_it_predicts() -> None:
    """JCGM 100, H.3: corrections about 20 °C; y1 = -0.1712 (0.0029), y2 = 0.00218 (0.00067), r = -0.930; b(30 °C)."""
    data = columns("gum_h3.csv")
    fit = fit_line(data["tk"] - 20, data["bk"])
    first, second = fit.coefficient(0), fit.coefficient(1)
    assert (first.value, first.u) == pytest.approx((-0.1712, 0.0029), abs=5e-5)
    assert (second.value, second.u) == pytest.approx((0.00218, 0.00067), abs=5e-6)
    covariance = fit.covariance[0, 1]
    assert covariance / (first.u * second.u) == pytest.approx(-0.930, abs=5e-4)
    assert fit.residual_sd == pytest.approx(0.0035, abs=5e-5)
    at30 = fit.predicted([1.0, 10.0])
    assert (at30.value, at30.u, at30.dof) == pytest.approx((-0.1494, 0.0041, 9), abs=5e-5)
