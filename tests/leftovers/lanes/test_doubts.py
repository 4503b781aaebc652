from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from debriscount.layout.lay_patch import lay_patch
from debriscount.leftovers.lanes.course import chord
from debriscount.leftovers.lanes.doubts import (
    along_wall,
    apart,
    crosses_alone,
    left_elsewhere,
    no_slivers,
    straightness,
)
from debriscount.leftovers.lanes.evidence import LaneEvidence
from debriscount.leftovers.lanes.strips import Found, StripEnd

PATCH = lay_patch(500, 300)


def strip(low: float, high: float, u: float = 0.5) -> Found:
    return Found(StripEnd(low, u, True), StripEnd(high, u, True))


def strewn(missed: Callable[[Any, Any], Any], count: int = 5000) -> LaneEvidence:
    x, y = np.random.default_rng(0).uniform(-1, 1, (2, count)) * [[250], [150]]
    return LaneEvidence(x, y, np.where(missed(x, y), 2.3, -2.3))


@pytest.mark.parametrize(
    ("missed", "straight"),
    [
        (lambda x, y: np.abs(y) < 10, True),
        (lambda x, y: np.abs(y - 3 * np.sin(x / 50)) < 10, True),  # strays as lanes do
        (lambda x, y: np.abs(np.hypot(x, y - 600) - 600) < 10, False),  # an arc about a spot 0.6 m away
        (lambda x, y: np.abs(y - 0.12 * x) < 10, False),  # 60 mm off the heading from end to end
        (lambda x, y: np.abs(y) < 12 + x / 22, False),  # a sliver, wide at one end and closed at the other
    ],
)
def test_lanes_strips_are_straight_and_those_of_other_paths_are_not(missed: Any, straight: bool) -> None:
    said = straightness(strewn(missed), 0.0, strip(-10, 10))
    assert (said > 6) is straight
    assert (said < 0) is not straight


def test_where_no_grains_lie_a_strip_is_not_held_for_straight() -> None:
    assert straightness(strewn(lambda x, y: y < 0, 1), 0.0, strip(-0.1, 0.1)) < 0


def test_a_strip_alone_has_to_be_long_narrow_and_clear() -> None:
    ends = chord(PATCH, 0.0, 0.0)
    short = chord(PATCH, 45.0, 180.0)
    assert ends is not None and short is not None
    assert crosses_alone(strip(-10, 10), 100.0, ends, PATCH)
    assert not crosses_alone(strip(-60, 60), 100.0, ends, PATCH)
    assert not crosses_alone(strip(-10, 10), 20.0, ends, PATCH)
    assert not crosses_alone(strip(-10, 10, u=8), 100.0, ends, PATCH)
    assert not crosses_alone(strip(-10, 10), 100.0, short, PATCH)


def test_of_strips_without_room_for_a_lane_the_clearest_stays() -> None:
    strips = [strip(-10, 10), strip(20, 30), strip(140, 150)]
    assert apart(strips, [5.0, 50.0, 20.0]) == strips[1:]
    assert apart([], []) == []


def test_what_was_left_elsewhere_is_measured_against_the_strips() -> None:
    strips = [strip(-10, 10)]
    alone = strewn(lambda x, y: np.abs(y) < 10)
    # By hand: a place of 100 mm by 100 mm beside a strip of 500 mm by 20 mm.
    beside = strewn(lambda x, y: (np.abs(y) < 10) | ((x > 100) & (x < 200) & (y > 30) & (y < 130)))
    assert left_elsewhere(alone, 0.0, strips, PATCH) == 0
    assert left_elsewhere(beside, 0.0, strips, PATCH) == pytest.approx(1, abs=0.3)


def test_a_few_grains_in_a_row_beside_clear_strips_are_no_strip() -> None:
    strips = [strip(0, 40), strip(75, 77), strip(150, 189)]
    assert no_slivers(strips, [900.0, 9.0, 700.0]) == [strips[0], strips[2]]
    # Narrow but clear, or unclear but as wide as the others: both may be lanes that stray.
    assert no_slivers(strips, [900.0, 300.0, 700.0]) == strips
    assert no_slivers([strip(0, 40), strip(75, 110)], [900.0, 9.0]) == [strip(0, 40), strip(75, 110)]
    assert no_slivers([], []) == []


def test_a_strip_along_a_wall_without_room_for_a_lane_is_the_walls() -> None:
    walled = lay_patch(600, 400, ("top", "left"))
    near, far = ((0.0, 10.0), (600.0, 14.0)), ((0.0, 80.0), (600.0, 84.0))
    assert along_wall(strip(0, 18), near, walled)
    assert not along_wall(strip(0, 18), far, walled)
    assert not along_wall(strip(0, 18), near, lay_patch(600, 400, ("right",)))
    assert not along_wall(strip(0, 18), ((0.0, 10.0), (600.0, 300.0)), walled)
