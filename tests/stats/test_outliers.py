import numpy as np
import pytest

from debriscount.scale.odd_runs import odd_one
from debriscount.stats.outliers import cochran, cochran_critical, grubbs, grubbs_critical


def test_at_its_critical_value_a_statistic_has_its_chance() -> None:
    """By hand: of (0, 0, 0, x) the last lies 1.5 standard deviations from the mean, whatever x is."""
    found = grubbs([0.0, 0.0, 0.0, 5.0])
    assert found is not None
    assert (found.index, found.statistic, found.chance) == pytest.approx((3, 1.5, 0.0))
    rng = np.random.default_rng(0)
    values = rng.normal(size=8)
    values[3] += 2
    one = grubbs(values)
    assert one is not None
    assert grubbs_critical(8, one.chance) == pytest.approx(one.statistic, rel=1e-9)


def test_it_is_the_deletion_test_of_runs_where_scatter_is_all_there_is() -> None:
    values = np.array([80.1, 79.6, 81.0, 80.3, 74.0])
    one, other = grubbs(values), odd_one(values, np.full(5, 1e-6))
    assert one is not None
    assert other is not None
    assert (one.index, one.chance) == pytest.approx((other.index, other.chance), rel=1e-6)


def test_chance_calls_one_sample_in_twenty_odd() -> None:
    rng = np.random.default_rng(5)
    called = [grubbs(values).chance < 0.05 for values in rng.normal(size=(4000, 6))]  # type: ignore[union-attr]
    assert np.mean(called) == pytest.approx(0.05, abs=0.01)
    called = [cochran(s, 4).chance < 0.05 for s in rng.normal(size=(4000, 5, 4)).std(axis=2, ddof=1)]  # type: ignore[union-attr]
    assert np.mean(called) == pytest.approx(0.05, abs=0.01)


def test_the_largest_scatter_by_hand() -> None:
    found = cochran([1.0, 3.0, 1.0], 3)
    assert found is not None
    assert (found.index, found.statistic) == pytest.approx((1, 9 / 11))
    assert cochran_critical(3, 3, found.chance) == pytest.approx(9 / 11)
    assert found.chance > 0.05  # the table's critical value is 0.871
    assert cochran([0.0, 2.0], 3).chance == 0  # type: ignore[union-attr]


def test_nothing_to_tell_by() -> None:
    assert grubbs([1.0, 2.0]) is None
    assert grubbs([1.0, 1.0, 1.0]) is None
    assert cochran([1.0], 3) is None
    assert cochran([0.0, 0.0], 3) is None
    with pytest.raises(ValueError, match="2 values"):
        grubbs_critical(2)
    with pytest.raises(ValueError, match="1 variances"):
        cochran_critical(1, 3)
