import math

import pytest

from debriscount.inputs.debris import DebrisKind
from debriscount.shot_check.allowance import (
    LEFT,
    OWN_ERROR,
    allowance_percent,
    allowed_area_error,
    middle_mm,
    own_error_finding,
)


def test_three_faults_at_their_limits_make_up_what_is_wanted() -> None:
    one = allowance_percent(1.0)
    assert math.sqrt(3 * one**2) == pytest.approx(1.0)


def test_an_area_wrong_by_what_is_allowed_moves_pickup_by_its_allowance() -> None:
    left, before = LEFT * 200.0, 200.0
    wrong = 100 * (1 - left * (1 + allowed_area_error(2.0)) / before)
    assert 100 * (1 - left / before) - wrong == pytest.approx(allowance_percent(2.0))


def test_middle_size_is_the_median_of_a_log_normal_spread() -> None:
    assert middle_mm(DebrisKind("rice", (1, 2, 3), (2.0, 8.0))) == pytest.approx(4.0)


def test_no_shot_promises_more_than_good_photos_keep() -> None:
    assert own_error_finding(OWN_ERROR).fit
    finding = own_error_finding(0.3)
    assert not finding.fit
    assert "want more, or take the mean of several runs" in finding.advice
