import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from debriscount.scale.method_comparison import limits_of_agreement


def test_three_differences_by_hand() -> None:
    """Differences 1, 2, 3: mean 2, sd 1; t(2) = 4.303."""
    found = limits_of_agreement([11, 12, 13], [10, 10, 10])
    assert (found.bias.value, found.sd) == pytest.approx((2, 1))
    assert (found.lower.value, found.upper.value) == pytest.approx((0.04, 3.96))
    assert found.bias.interval95() == pytest.approx((2 - 4.3027 / np.sqrt(3), 2 + 4.3027 / np.sqrt(3)), abs=1e-4)
    assert found.within == (None, None)


@given(arrays(float, (6, 2), elements=st.floats(0, 100)))
def test_exchanging_the_methods_mirrors_the_limits(both: np.ndarray) -> None:
    one, other = limits_of_agreement(both[:, 0], both[:, 1]), limits_of_agreement(both[:, 1], both[:, 0])
    assert one.bias.value == pytest.approx(-other.bias.value, abs=1e-9)
    assert one.lower.value == pytest.approx(-other.upper.value, abs=1e-9)
    assert one.lower.u == pytest.approx(other.upper.u, abs=1e-9)


def test_uncertainty_of_a_limit_is_its_scatter() -> None:
    """20 000 samples of 12 normal differences each; 4 % is four standard errors of a standard deviation and the
    approximation's own error (the mean of sd falls short by 1/(4 (n - 1)), 2 %).
    """
    rng = np.random.default_rng(3)
    samples = rng.normal(0, 1, (20_000, 12))
    upper = samples.mean(axis=1) + 1.96 * samples.std(axis=1, ddof=1)
    stated = np.sqrt(1 / 12 + 1.96**2 / 22)
    assert upper.std() == pytest.approx(stated, rel=0.04)
    one = limits_of_agreement(samples[0], np.zeros(12))
    assert one.upper.u / one.sd == pytest.approx(stated, rel=1e-12)


def test_repeated_readings_widen_the_limits_to_single_ones() -> None:
    """Means of three readings each, sd of a reading 0.6 and 0.9: single ones differ with sd sqrt(0.36 + 0.81)."""
    rng = np.random.default_rng(4)
    truth = rng.uniform(50, 100, (4000, 1))
    first, second = truth + rng.normal(0, 0.6, (4000, 3)), truth + rng.normal(0, 0.9, (4000, 2))
    found = limits_of_agreement(first, second)
    assert found.sd == pytest.approx(np.sqrt(0.36 + 0.81), rel=0.03)
    assert found.within == pytest.approx((0.6, 0.9), rel=0.03)
    assert (first.mean(axis=1) - second.mean(axis=1)).std() < 0.85 * found.sd


def test_equal_methods_have_no_scatter() -> None:
    found = limits_of_agreement([1, 2, 3], [1, 2, 3])
    assert (found.sd, found.bias.u, found.upper.u) == (0, 0, 0)


@pytest.mark.parametrize(
    ("first", "second", "words"),
    [
        ([1.0], [1.0], "the same two or more things, but got 1 and 1"),
        ([1.0, 2.0], [1.0], "but got 2 and 1"),
        ([1.0, np.nan], [1.0, 2.0], "measurements must be finite"),
    ],
)
def test_what_cannot_be_compared_is_refused(first: list[float], second: list[float], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        limits_of_agreement(first, second)
