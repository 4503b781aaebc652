import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from debriscount.layout.lay_patch import lay_patch
from debriscount.leftovers.lanes.course import (
    Course,
    chord,
    course,
    left_throughout,
    length_mm,
    straighten,
    strays_mm,
)
from debriscount.leftovers.lanes.evidence import LaneEvidence
from debriscount.leftovers.lanes.strips import Found, StripEnd

PATCH = lay_patch(500, 300)
STRIP = Found(StripEnd(-10.0, 0.2, True), StripEnd(10.0, 0.2, True))


def strewn(missed: object, count: int = 6000, seed: int = 0) -> LaneEvidence:
    """Grains all over the patch, those between lines across at ``missed(x)`` say that they were left."""
    rng = np.random.default_rng(seed)
    x, y = rng.uniform(-250, 250, count), rng.uniform(-150, 150, count)
    low, high = missed(x)  # type: ignore[operator]
    return LaneEvidence(x, y, np.where((y > low) & (y < high), 2.5, -2.5))


@given(st.floats(0, 360), st.floats(-300, 300))
def test_a_chord_ends_on_the_rim_and_lies_where_it_should(heading: float, across: float) -> None:
    ends = chord(PATCH, heading, across)
    places = np.array(ends if ends is not None else [(0.0, 0.0)]) - (250, 150)
    if ends is None:
        # By hand: half the patch's extent across the heading.
        turn = np.deg2rad(heading)
        assert abs(across) > 250 * abs(np.sin(turn)) + 150 * abs(np.cos(turn)) - 1e-6
        return
    assume(length_mm(ends) > 1e-3)
    for x, y in places:
        off, _ = LaneEvidence(np.array([x]), np.array([y]), np.zeros(1)).across_along(heading)
        assert off[0] == pytest.approx(across, abs=1e-6)
        assert min(abs(abs(x) - 250), abs(abs(y) - 150)) < 1e-6
        assert abs(x) < 250 + 1e-6 and abs(y) < 150 + 1e-6


def test_a_strip_that_another_path_crossed_was_not_left_throughout() -> None:
    ends = chord(PATCH, 0.0, 0.0)
    assert ends is not None
    whole = strewn(lambda x: (-10 + 0 * x, 10 + 0 * x))
    crossed = strewn(lambda x: (np.where(np.abs(x - 60) < 70, 99, -10), 10 + 0 * x))
    bent = strewn(lambda x: (-10 + 5 * np.sin(x / 60), 10 + 5 * np.sin(x / 60)))
    assert [left_throughout(grains, 0.0, STRIP, ends) for grains in (whole, crossed, bent)] == [True, False, True]


def test_a_course_follows_the_borders() -> None:
    path = course(strewn(lambda x: (-10 + x / 50, 10 + 0 * x)), 0.0, STRIP)
    assert path is not None and len(path.along) == 8
    assert path.low == pytest.approx(-10 + path.along / 50, abs=2.5)
    assert path.high == pytest.approx(10, abs=2)
    assert course(strewn(lambda x: (-10 + 0 * x, 10 + 0 * x), count=30), 0.0, STRIP) is None


def test_pieces_of_equal_certainty_are_fitted_as_numpy_does() -> None:
    along = np.linspace(-200, 200, 8)
    rng = np.random.default_rng(0)
    low, high = -10 + 0.02 * along + rng.normal(0, 0.5, (2, 8)) + [[0], [20]]
    path = Course(along, low, high, np.full(8, 0.5), np.full(8, 0.5))
    straight = straighten([STRIP], [path])
    assert straight is not None
    # Parallel lines over the same places have the mean of their slopes: numpy.polyfit.
    slope = (np.polyfit(along, low, 1)[0] + np.polyfit(along, high, 1)[0]) / 2
    assert straight.turn_deg == pytest.approx(float(np.rad2deg(np.arctan(slope))), rel=1e-6)
    assert straight.found[0].span == pytest.approx((low.mean(), high.mean()), abs=1e-6)


def test_the_heading_of_wobbling_lanes_is_less_certain() -> None:
    along = np.linspace(-200, 200, 8)
    u = np.full(8, 0.3)
    still = Course(along, np.full(8, -10.0), np.full(8, 10.0), u, u)
    wobbling = Course(along, -10 + 3 * np.sin(along / 50), 10 + 3 * np.cos(along / 50), u, u)
    turns = [straighten([STRIP], [path]) for path in (still, wobbling)]
    assert turns[0] is not None and turns[1] is not None
    assert turns[1].turn_u_deg > 3 * turns[0].turn_u_deg
    assert straighten([STRIP], [None]) is None


def test_straying_is_what_chance_does_not_explain() -> None:
    rng = np.random.default_rng(3)
    along = np.linspace(-200, 200, 200)
    u = np.full(200, 1.0)

    def path(amplitude: float) -> Course:
        middle = amplitude * np.sqrt(2) * np.sin(along / 20)
        low, high = middle - 8 + rng.normal(0, 1, (2, 200)) + [[0], [16]]
        return Course(along, low, high, u, u)

    assert strays_mm(path(2.0)) == pytest.approx(2, abs=0.3)
    assert strays_mm(path(0.0)) < 0.4
