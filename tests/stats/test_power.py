import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.special import stdtrit

from debriscount.stats.differences import welch
from debriscount.stats.power import detectable, power, runs_needed
from debriscount.stats.quantity import chance_of


@pytest.mark.parametrize(("n", "difference"), [(2, 6.0), (3, 5.0), (4, 5.0), (8, 3.0)])
def test_welchs_test_tells_less_of_few_runs_and_how_much_less_is_known(n: int, difference: float) -> None:
    """Against simulation: 20,000 pairs of groups tested by Welch, whose share told has a standard error of 0.35 points."""
    rng = np.random.default_rng(n)
    first, second = rng.normal(difference, 2, (20_000, n)), rng.normal(0, 2, (20_000, n))
    u2 = [v.var(axis=1, ddof=1) / n for v in (first, second)]
    dof = (u2[0] + u2[1]) ** 2 * (n - 1) / (u2[0] ** 2 + u2[1] ** 2)
    t = np.abs(first.mean(axis=1) - second.mean(axis=1)) / np.sqrt(u2[0] + u2[1])
    assert power(difference, 2, n, design="welch") == pytest.approx(np.mean(t > stdtrit(dof, 0.975)), abs=0.014)
    assert power(difference, 2, n, design="welch") < power(difference, 2, n)


def test_without_a_difference_power_is_the_chance_of_a_false_alarm() -> None:
    assert power(0, 1, 5) == pytest.approx(0.05)
    assert power(0, 1, 5, chance=0.01, design="pairs") == pytest.approx(0.01)


@given(st.floats(0.05, 20), st.floats(0.1, 5), st.integers(2, 200))
def test_more_runs_and_larger_differences_tell_more(difference: float, sd: float, n: int) -> None:
    here = power(difference, sd, n)
    assert 0.05 - 1e-9 <= here <= 1
    assert power(difference, sd, n + 1) >= here - 1e-9
    assert power(1.1 * difference, sd, n) >= here - 1e-9
    assert power(-difference, sd, n) == here


@given(st.floats(0.2, 10), st.floats(0.1, 5), st.sampled_from([0.8, 0.9]), st.sampled_from(["groups", "pairs"]))
def test_the_fewest_runs_that_do(difference: float, sd: float, wanted: float, design: str) -> None:
    n = runs_needed(difference, sd, wanted, design=design)  # type: ignore[arg-type]
    assert power(difference, sd, n, design=design) >= wanted  # type: ignore[arg-type]
    assert n == 2 or power(difference, sd, n - 1, design=design) < wanted  # type: ignore[arg-type]


def test_the_difference_that_so_many_tell_is_told_as_often() -> None:
    for n in (2, 4, 30):
        assert power(detectable(1.7, n, 0.9), 1.7, n) == pytest.approx(0.9, abs=1e-6)


def test_simulated_runs_are_told_as_often_as_planned() -> None:
    rng = np.random.default_rng(11)
    first, second = rng.normal(3, 2, (2000, 9)), rng.normal(0, 2, (2000, 9))
    told = [chance_of(welch(a, b)) < 0.05 for a, b in zip(first, second, strict=True)]  # type: ignore[arg-type]
    assert np.mean(told) == pytest.approx(power(3, 2, 9), abs=0.03)


def test_no_scatter_takes_two_runs_and_a_huge_difference_is_sure() -> None:
    assert runs_needed(1, 0) == 2
    assert power(1e6, 1, 3) == 1


@pytest.mark.parametrize(
    "call",
    [
        lambda: power(1, 0, 3),
        lambda: power(1, 1, 1),
        lambda: power(math.inf, 1, 3),
        lambda: runs_needed(0, 1),
        lambda: runs_needed(1, 1, 1.0),
        lambda: detectable(1, 1),
    ],
)
def test_out_of_range(call) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(ValueError, match=r"no (power|number|difference)"):
        call()


def test_more_runs_than_anybody_makes() -> None:
    with pytest.raises(ValueError, match="takes more than"):
        runs_needed(1e-6, 1)
