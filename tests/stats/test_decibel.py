import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from debriscount.stats.decibel import energy_mean_db

LEVELS = st.lists(st.floats(-50, 150), min_size=1, max_size=8)


def test_by_the_definition() -> None:
    """Level of a ratio of powers: 10 lg. Powers 10 and 1000 have the mean 505; 60 dB twice is 60 dB."""
    assert energy_mean_db([10.0, 30.0]) == pytest.approx(10 * math.log10(505))
    assert energy_mean_db([60.0, 60.0]) == pytest.approx(60)
    # Of two levels 3 dB apart the louder has twice the power: the mean is 1.5 of the quieter's.
    assert energy_mean_db([70.0, 70 + 10 * math.log10(2)]) == pytest.approx(70 + 10 * math.log10(1.5))


@given(LEVELS, st.floats(-20, 20))
def test_it_lies_between_plain_mean_and_loudest_and_goes_with_the_reference(levels: list[float], by: float) -> None:
    mean = energy_mean_db(levels)
    assert sum(levels) / len(levels) - 1e-9 <= mean <= max(levels) + 1e-9
    assert energy_mean_db([level + by for level in levels]) == pytest.approx(mean + by, abs=1e-9)


@pytest.mark.parametrize("levels", [[], [math.nan], [[60.0]]])
def test_no_level(levels: list[float]) -> None:
    with pytest.raises(ValueError, match="one or more finite numbers"):
        energy_mean_db(levels)
