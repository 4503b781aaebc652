import numpy as np
from numpy.typing import NDArray

from debriscount.camera.scatter import LeftOver, whitening

Floats = NDArray[np.float64]


def test_whitening_makes_readings_independent() -> None:
    sigma = np.array([0.5, 1.0, 2.0])
    shared = np.array([[1.0], [1.0], [0.0]])
    covariance = np.diag(sigma**2) + 9 * shared @ shared.T
    whiten = whitening(sigma, [shared], [3.0])
    np.testing.assert_allclose(whiten @ covariance @ whiten.T, np.eye(3), atol=1e-12)


def estimate(readings: Floats, groups: int, rounds: int = 200) -> tuple[float, float]:
    """Deviations within and between groups of readings about one mean."""
    own, between = 1.0, 1.0
    shared = np.repeat(np.eye(groups), len(readings) // groups, axis=0)
    for _ in range(rounds):
        whiten = whitening(np.full(len(readings), own), [shared], [between])
        design = whiten @ np.ones((len(readings), 1))
        fitted = np.linalg.lstsq(design, whiten @ readings, rcond=None)[0]
        left = LeftOver.of(whiten, design @ fitted - whiten @ readings, design)
        own, between = own * left.by_themselves(), between * left.together(shared)
    return own, between


def test_components_are_those_of_the_analysis_of_variance() -> None:
    """In balanced groups restricted likelihood gives what mean squares give in closed form (Searle et al., chapter 4)."""
    readings = np.array([[4.9, 5.3, 5.1], [7.2, 6.8, 7.0], [3.1, 2.8, 3.4], [5.9, 6.1, 6.3]])
    within = readings.var(axis=1, ddof=1).mean()
    between = readings.mean(axis=1).var(ddof=1) - within / 3
    found = estimate(readings.ravel(), groups=4)
    np.testing.assert_allclose(np.square(found), [within, between], rtol=1e-4)


def test_what_shows_nothing_falls_to_nothing() -> None:
    readings = np.array([[1.0, -1.0], [1.0, -1.0], [-1.0, 1.0]])  # the groups' means agree to the last digit
    own, between = estimate(readings.ravel(), groups=3)
    np.testing.assert_allclose(own**2, 6 / 5, rtol=1e-3)
    assert between < 0.01
