import numpy as np
import pytest

from debriscount.stats.robust import robust_sd


def test_normal_scatter_keeps_its_standard_deviation_whatever_a_tenth_of_it_does() -> None:
    values = np.random.default_rng(1).normal(5.0, 2.0, 20_000)
    assert robust_sd(values) == pytest.approx(2.0, rel=0.03)
    assert robust_sd(values, 5.0) == pytest.approx(2.0, rel=0.03)
    values[::10] = 1e6
    assert robust_sd(values) == pytest.approx(2.0, rel=0.2)


def test_values_off_the_true_middle_scatter_about_it() -> None:
    assert robust_sd(np.full(7, 3.0)) == 0
    assert robust_sd(np.full(7, 3), 1.0) == pytest.approx(2 * 1.4826)
