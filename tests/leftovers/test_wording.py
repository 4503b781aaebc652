import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from debriscount.leftovers.wording import around, length_text, share_text

percent = st.floats(-50, 150)


@pytest.mark.parametrize(
    ("value", "interval", "text"),
    [
        (31.4, (29.1, 33.2), "31 % (29 to 33 %)"),
        (31.44, (31.2, 31.7), "31.4 % (31.2 to 31.7 %)"),
        (0.4, (0.21, 0.6), "0.4 % (0.2 to 0.6 %)"),
        (0.043, (0.031, 0.052), "0.04 % (0.03 to 0.05 %)"),
        (99.7, (98.4, 99.9), "99.7 % (98.4 to 99.9 %)"),  # never a round 100
        (1.0, (0.04, 3.6), "1 % (at most 4 %)"),
        (97.0, (94.2, 99.8), "97 % (at least 94 %)"),
        (1.0, (-2.0, 3.2), "at most 4 %"),  # upwards, so that it stays true
        (98.0, (96.9, 101.0), "at least 96 %"),
        (-1.0, (-3.0, 2.5), "at most 3 %"),
        (50.0, (-10.0, 110.0), None),
        (50.0, (101.0, 105.0), None),
        (None, (1.0, 2.0), None),
        (float("nan"), None, None),
        (100.0, (100.0, 100.0), "100 %"),
        (31.4, None, "31 %"),
        (8.04, None, "8.0 %"),
        (99.6, None, "99.6 %"),
        (99.97, None, "more than 99.9 %"),
        (0.02, None, "less than 0.1 %"),
        (0.0, None, "0 %"),
        (100.0, None, "100 %"),
        (-0.1, None, None),
        (100.2, None, None),
        (31.4, (float("nan"), 40.0), "31 %"),
    ],
)
def test_shares_have_as_many_digits_as_they_carry(
    value: float | None, interval: tuple[float, float] | None, text: str | None
) -> None:
    assert share_text(value, interval) == text


@given(percent, st.one_of(st.none(), st.tuples(percent, percent).map(sorted).map(lambda p: (p[0], p[1]))))
def test_no_share_is_worded_that_cannot_be(value: float, interval: tuple[float, float] | None) -> None:
    text = share_text(value, interval)
    if text is None:
        return
    numbers = [float(n) for n in re.findall(r"-?\d+(?:\.\d+)?", text)]
    assert all(0 <= number <= 100 for number in numbers)
    if interval is None or text.startswith("at "):
        return
    if len(numbers) == 3:
        assert numbers[1] <= numbers[0] <= numbers[2]


@given(st.floats(0, 100), st.floats(0.001, 50))
def test_at_most_and_at_least_are_never_too_narrow(value: float, wide: float) -> None:
    text = share_text(value, (value - wide, value + wide))
    if text is not None and text.startswith("at most"):
        assert float(text.split()[2]) >= min(value + wide, 100)
    if text is not None and text.startswith("at least"):
        assert float(text.split()[2]) <= max(value - wide, 0)


def test_lengths_have_as_many_digits_as_they_carry() -> None:
    assert length_text(23.7) == "24 mm"
    assert length_text(23.71, (22.1, 25.4)) == "24 mm (22 to 25 mm)"
    assert length_text(23.71, (23.22, 24.04)) == "23.7 mm (23.2 to 24.0 mm)"
    assert length_text(2.0, (-1.0, 5.0)) == "2 mm (0 to 5 mm)"
    assert length_text(2.0, (float("nan"), 5.0)) == "2 mm"


def test_intervals_are_normal_ones() -> None:
    # 1.96: 97.5th percentile of the normal distribution (ISO 3534-1 tables; from memory).
    assert around(10.0, 2.0) == pytest.approx((6.08, 13.92), abs=1e-3)
