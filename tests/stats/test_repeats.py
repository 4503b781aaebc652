import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from debriscount.stats.repeats import mean_and_spread, mean_of, one_factor, pooled

VALUES = st.lists(st.floats(-1e3, 1e3), min_size=1, max_size=6)


def test_mean_and_spread() -> None:
    assert mean_and_spread([1.0, 2.0, 3.0, 4.0]) == pytest.approx((2.5, math.sqrt(5 / 3)))


def test_a_mean_is_known_as_well_as_its_repeats_say() -> None:
    found = mean_of([1.0, 2.0, 3.0, 4.0])
    assert found is not None
    assert (found.value, found.u, found.dof) == pytest.approx((2.5, math.sqrt(5 / 3) / 2, 3))
    assert mean_of([7.0]) is None


def test_pooled_deviations_by_hand() -> None:
    assert pooled([1.0, 3.0], [1, 3]) == pytest.approx((math.sqrt((1 + 27) / 4), 4))
    assert pooled([0.0], [0]) is None


def test_unequal_groups_by_hand() -> None:
    """Groups (1, 3) and (7): within 2 on 1 degree of freedom, between 2 (2 − 11/3)² + (7 − 11/3)², about the mean 11/3."""
    found = one_factor([[1.0, 3.0], [7.0]])
    assert found.mean == pytest.approx(11 / 3)
    assert (found.repeatability, found.dof) == pytest.approx((math.sqrt(2), 1))
    between = 2 * (2 - 11 / 3) ** 2 + (7 - 11 / 3) ** 2
    n0 = (3 - 5 / 3) / 1
    assert found.between == pytest.approx(math.sqrt((between - 2) / n0))
    assert found.reproducibility == pytest.approx(math.hypot(found.repeatability, found.between))
    assert found.limit == pytest.approx(2.8 * math.sqrt(2))


@given(st.lists(VALUES, min_size=2, max_size=5).filter(lambda groups: max(map(len, groups)) > 1), st.floats(-1e3, 1e3))
def test_a_common_shift_moves_the_mean_alone(groups: list[list[float]], shift: float) -> None:
    found, moved = one_factor(groups), one_factor([[v + shift for v in group] for group in groups])
    assert moved.mean == pytest.approx(found.mean + shift, abs=1e-9)
    assert moved.repeatability == pytest.approx(found.repeatability, abs=1e-6)
    assert moved.between == pytest.approx(found.between, abs=1e-4)


def test_groups_no_farther_apart_than_repeats_have_nothing_between_them() -> None:
    assert one_factor([[0.0, 10.0], [1.0, 9.0]]).between == 0


@pytest.mark.parametrize("groups", [[[1.0, 2.0]], [[1.0], [2.0]], [[1.0, 2.0], []]])
def test_too_little_to_split(groups: list[list[float]]) -> None:
    with pytest.raises(ValueError, match="do not show scatter"):
        one_factor(groups)


def test_what_is_not_finite() -> None:
    with pytest.raises(ValueError, match="finite"):
        one_factor([[1.0, np.nan], [2.0]])
