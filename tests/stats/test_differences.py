import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from debriscount.stats.differences import holm, paired, welch

CHANCES = st.lists(st.floats(0, 1), min_size=1, max_size=12)


def test_a_difference_by_hand() -> None:
    """Variances 2 and 8 of two values each: u² = 1 + 4, ν = 25 / (1 + 16)."""
    found = welch([1.0, 3.0], [5.0, 9.0])
    assert found is not None
    assert (found.value, found.u, found.dof) == pytest.approx((-5, 5**0.5, 25 / 17))


def test_samples_without_scatter_differ_for_sure() -> None:
    found = welch([2.0, 2.0], [1.0, 1.0, 1.0])
    assert found is not None
    assert (found.interval95(), found.dof) == ((1.0, 1.0), 3)


def test_a_single_value_tells_no_difference() -> None:
    assert welch([1.0], [2.0, 3.0]) is None
    assert paired([1.0], [2.0]) is None


def test_what_pairs_have_in_common_cancels() -> None:
    days = np.array([0.0, 20.0, -10.0, 5.0])
    found = paired(days + np.array([1.0, 1.2, 0.9, 1.1]), days)
    assert found is not None
    assert found.value == pytest.approx(1.05)
    assert found.u < 0.1


@given(CHANCES)
def test_adjusted_chances_keep_their_order_and_only_grow(chances: list[float]) -> None:
    adjusted = holm(chances)
    assert all(before <= after <= 1 for before, after in zip(chances, adjusted, strict=True))
    order = np.argsort(chances, kind="stable")
    assert (np.diff(np.array(adjusted)[order]) >= 0).all()
    # The smallest is the one that Bonferroni gives.
    assert min(adjusted) == pytest.approx(min(1.0, len(chances) * min(chances)))
