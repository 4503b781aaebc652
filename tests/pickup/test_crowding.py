import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from debriscount.pickup.crowding import GRAINS_PER_CELL, crowding_factor, true_cover


@given(st.floats(0, 2), st.floats(0.01, 1.5))
def test_the_inverse_gives_the_true_cover_back(true: float, crowding: float) -> None:
    seen = (1 - np.exp(-crowding * true)) / crowding
    if crowding * seen < 0.98:
        assert true_cover(np.array([seen]), crowding)[0] == pytest.approx(true, abs=1e-9)


def test_a_single_layer_is_seen_whole() -> None:
    seen = np.array([0.0, 0.3, 1.0])
    np.testing.assert_array_equal(true_cover(seen, 0.0), seen)


@given(st.floats(0, 1), st.just(0.0) | st.floats(1e-6, 1.5))
def test_there_is_never_less_than_is_seen(seen: float, crowding: float) -> None:
    assert true_cover(np.array([seen]), crowding)[0] >= min(seen, 0.98 / max(crowding, 0.1)) - 1e-9


def test_a_little_crowding_is_nearly_none() -> None:
    # By hand, to second order: q = p + kappa p² / 2 = 0.3 + 0.00045.
    assert true_cover(np.array([0.3]), 0.01)[0] == pytest.approx(0.30045, abs=1e-6)


def test_cover_that_the_model_cannot_reach_stays_finite() -> None:
    # By hand: kappa p is held at 0.98: q = -ln(0.02) / 1 = 3.912.
    assert true_cover(np.array([1.0, 5.0]), 1.0) == pytest.approx([3.912, 3.912], abs=5e-4)


def side_of(area_mm2: float) -> float:
    return float(np.sqrt(2 * GRAINS_PER_CELL * area_mm2))


def test_grains_of_one_cell_share_their_factor_and_lone_grains_hardly_have_one() -> None:
    """By hand: cells of side sqrt(20 * 5) = 10 mm; ten grains of 5 mm² in one cover half of it."""
    crowded = np.full(10, 5.0)
    x = np.array([*np.linspace(1, 9, 10), 105.0])
    y = np.array([*np.full(10, 5.0), 5.0])
    factor = crowding_factor(x, y, np.append(crowded, 5.0), 1.0)
    assert side_of(5.0) == 10
    np.testing.assert_allclose(factor[:10], -np.log(0.5) / 0.5)
    assert factor[10] == pytest.approx(-np.log(0.95) / 0.05)


def test_without_crowding_or_grains_there_is_no_factor() -> None:
    places = np.array([1.0, 2.0])
    np.testing.assert_array_equal(crowding_factor(places, places, np.array([5.0, 5.0]), 0.0), [1, 1])
    assert crowding_factor(np.zeros(0), np.zeros(0), np.zeros(0), 0.7).shape == (0,)


def test_crowding_counts_cell_by_cell_not_over_the_patch() -> None:
    """The same grains in one heap hide more than spread out."""
    area = np.full(50, 5.0)
    heap = np.random.default_rng(1).uniform(0, 20, (2, 50))
    spread = np.random.default_rng(1).uniform(0, 500, (2, 50))
    total = [float((area * crowding_factor(x, y, area, 0.8)).sum()) for x, y in (heap, spread)]
    assert total[0] > 1.2 * total[1]
    assert total[1] < 1.1 * area.sum()
