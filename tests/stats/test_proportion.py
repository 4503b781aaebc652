import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binomtest

from debriscount.stats.proportion import effective_count, mean_share, wilson


@pytest.mark.parametrize(
    ("x", "n", "low", "high"),
    [(81, 263, 0.2553, 0.3662), (15, 148, 0.0624, 0.1605), (0, 20, 0.0, 0.1611), (1, 29, 0.0061, 0.1718)],
)
def test_wilson_is_that_of_newcombes_table(x: int, n: int, low: float, high: float) -> None:
    """*Published*: R. G. Newcombe, Statistics in Medicine 17 (1998) 857-872, table I, method 3."""
    assert wilson(x / n, n) == pytest.approx((low, high), abs=5e-5)


@given(st.integers(1, 5000).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n))))
def test_wilson_is_that_of_scipy(counted: tuple[int, int]) -> None:
    """*Independent*: scipy.stats."""
    x, n = counted
    expected = binomtest(x, n).proportion_ci(method="wilson")
    assert wilson(x / n, n) == pytest.approx((expected.low, expected.high), abs=1e-12)


def test_no_grain_says_nothing() -> None:
    assert wilson(0.5, 0) == (0.0, 1.0)
    assert mean_share(np.zeros(0), np.zeros(0)) is None
    assert effective_count(np.zeros(3)) == 0


def test_equal_weights_count_as_many_as_there_are_and_one_heavy_grain_as_one() -> None:
    assert effective_count(np.full(7, 2.5)) == pytest.approx(7)
    assert effective_count(np.array([1e6, 1.0, 1.0])) == pytest.approx(1, rel=1e-5)


@given(st.lists(st.tuples(st.booleans(), st.floats(0.1, 10)), min_size=1, max_size=50))
def test_matched_grains_have_wilsons_interval_for_their_effective_count(grains: list[tuple[bool, float]]) -> None:
    values, weights = np.array([g[0] for g in grains], float), np.array([g[1] for g in grains])
    found = mean_share(values, weights)
    assert found is not None
    assert found[0] == pytest.approx(np.average(values, weights=weights))
    assert found[1] == pytest.approx(wilson(found[0], effective_count(weights)), abs=1e-6)
    assert 0 <= found[1][0] <= found[0] <= found[1][1] <= 1


def test_the_interval_holds_the_mean_of_noisy_shares_as_often_as_it_says() -> None:
    rng = np.random.default_rng(11)
    held = 0
    for _ in range(600):
        values = (rng.random(80) < 0.3) + rng.normal(0, 0.8, 80)
        found = mean_share(values, np.ones(80))
        assert found is not None
        held += found[1][0] <= 0.3 <= found[1][1]
    assert 0.95 - 4 * np.sqrt(0.05 * 0.95 / 600) < held / 600


def test_a_mean_beyond_what_can_be_is_put_at_the_end() -> None:
    found = mean_share(np.array([1.2, 1.1, 0.9]), np.ones(3))
    assert found is not None
    assert found[0] == found[1][1] == 1.0
    assert found[1][0] < 1
