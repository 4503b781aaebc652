import subprocess
import sys

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.optimize import least_squares as scipys

from debriscount.camera.least_squares import least_squares

Floats = NDArray[np.float64]
X = np.linspace(0.0, 3.0, 20)


def decay(p: Floats) -> tuple[Floats, Floats]:
    """Residuals of readings of 5 exp(-1.3 x) + 0.4, and their derivatives."""
    noise = 0.01 * np.cos(50 * X)
    fall = np.exp(-p[1] * X)
    slopes = np.stack([fall, -p[0] * X * fall, np.ones_like(X)], axis=-1)
    return p[0] * fall + p[2] - (5 * np.exp(-1.3 * X) + 0.4 + noise), slopes


def rosenbrock(p: Floats) -> tuple[Floats, Floats]:
    return np.array([10 * (p[1] - p[0] ** 2), 1 - p[0]]), np.array([[-20 * p[0], 10.0], [-1.0, 0.0]])


def test_a_straight_line_takes_what_the_normal_equations_say() -> None:
    """*Independent*: numpy's polyfit."""
    y = 3 * X - 1 + np.sin(40 * X)
    slopes = np.stack([X, np.ones_like(X)], axis=-1)

    def line(p: Floats) -> tuple[Floats, Floats]:
        return slopes @ p - y, slopes

    found = least_squares(line, np.zeros(2))
    np.testing.assert_allclose(found.at, np.polyfit(X, y, 1), atol=1e-12)


@pytest.mark.parametrize("start", [(4.0, 1.0, 0.0), (1.0, 0.1, 3.0)])
def test_a_curve_is_fitted_as_scipy_fits_it(start: tuple[float, ...]) -> None:
    """*Independent*: scipy 1.17."""
    found = least_squares(decay, np.array(start))

    def residuals(p: Floats) -> Floats:
        return decay(p)[0]

    expected = scipys(residuals, start, xtol=1e-14, ftol=1e-14, gtol=1e-14).x
    np.testing.assert_allclose(found.at, expected, atol=1e-8)
    np.testing.assert_allclose(found.residuals, decay(found.at)[0])
    np.testing.assert_allclose(found.jacobian, decay(found.at)[1])


def test_steps_that_would_climb_are_damped() -> None:
    """Rosenbrock's valley (Computer Journal 3 (1960) 175): from the usual start its least sum, 0, lies at (1, 1)."""
    np.testing.assert_allclose(least_squares(rosenbrock, np.array([-1.2, 1.0])).at, [1.0, 1.0], atol=1e-8)


def test_a_residual_that_is_no_number_does_not_win() -> None:
    def cliff(p: Floats) -> tuple[Floats, Floats]:
        beyond = p[0] > 1
        return np.array([np.nan if beyond else (p[0] - 0.9) ** 2 + 0.1]), np.array([[2 * (p[0] - 0.9)]])

    assert least_squares(cliff, np.array([0.0])).at[0] == pytest.approx(0.9, abs=0.05)


def test_fitting_views_does_not_load_scipy() -> None:
    code = "import sys, debriscount.camera.fit; sys.exit(any(name.split('.')[0] == 'scipy' for name in sys.modules))"
    subprocess.run([sys.executable, "-c", code], check=True)
