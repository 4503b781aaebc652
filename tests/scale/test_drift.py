import numpy as np
import pytest
from scipy.stats import linregress

from debriscount.scale.drift import drift
from debriscount.stats.quantity import Quantity, chance_of


def test_slope_and_chance_against_another_library() -> None:
    """*Independent*: scipy.stats.linregress, whose chance is by the scatter; here u is small, so that it decides too."""
    time = np.array([0.0, 2, 3, 7, 9, 12])
    difference = np.array([0.1, 0.3, -0.2, 0.6, 0.4, 0.9])
    found = drift(time, difference, np.full(6, 0.01))
    other = linregress(time, difference)
    assert found.slope.value == pytest.approx(other.slope, rel=1e-10)
    assert found.slope.u == pytest.approx(other.stderr, rel=1e-8)
    assert found.chance == pytest.approx(other.pvalue, rel=1e-6)


def test_stated_uncertainties_decide_where_the_scatter_is_less() -> None:
    found = drift([0, 1, 2], [0.0, 0.1, 0.2], [1.0, 1.0, 1.0])
    assert found.slope.value == pytest.approx(0.1)
    assert found.slope.u == pytest.approx(1 / np.sqrt(2))
    assert found.chance == pytest.approx(chance_of(Quantity(0.1, 1 / np.sqrt(2))))


@pytest.mark.parametrize(
    ("differences", "length", "chance"),
    [([-1, 1, 1, 1], 3, 0.25), ([1, 1, 1, 1], 4, 0.125), ([1, 1, 1, -1], 1, 1.0), ([1, 1, 1, 0], 0, 1.0)],
)
def test_differences_of_one_sign_at_the_end(differences: list[float], length: int, chance: float) -> None:
    found = drift(range(4), differences, np.ones(4))
    assert (found.same_sign, found.same_sign_chance) == (length, chance)


@pytest.mark.parametrize("time", [[0, 1], [1, 1, 1], [0, 2, 1]])
def test_no_drift_without_time(time: list[float]) -> None:
    with pytest.raises(ValueError, match="three or more times in order, not all the same"):
        drift(time, np.zeros(len(time)), np.ones(len(time)))
