"""When a number of grains is given: by hand."""

import pytest

from debriscount.pickup.records import Amount


@pytest.mark.parametrize(
    ("grains", "interval", "told"),
    [
        (200, None, True),
        (200, (188, 212), True),  # 5 % and two grains to either side
        (200, (188, 213), False),
        (200, (187, 212), False),
        (200, (200, 213), False),  # however near its other end
        (4, (3, 6), True),
        (4, (4, 7), False),
        (0, (0, 2), True),
    ],
)
def test_a_number_is_given_where_its_interval_reaches_no_farther_than_a_twentieth(
    grains: int, interval: tuple[int, int] | None, told: bool
) -> None:
    assert Amount(1.0, grains, None, interval).told_grains == (grains if told else None)
