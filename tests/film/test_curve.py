"""Places through time: what is seen counts, what is hidden is bridged."""

import numpy as np
import pytest

from debriscount.arrays import Floats
from debriscount.film.curve import State


def state(places: int = 4) -> State:
    return State(zones=np.ones((1, places), bool), patch=np.ones(places, bool))


def see(
    s: State,
    t: float,
    areas: list[float],
    hidden: tuple[int, ...] = (),
    passed: dict[int, float] | None = None,
    slack: float = 0.0,
) -> None:
    seen = np.ones(len(areas), bool)
    seen[list(hidden)] = False
    when = np.full(len(areas), np.nan)
    for place, time in (passed or {}).items():
        when[place] = time
    s.see(t, np.array([areas], float), seen, lambda places, _since, _until: when[places], slack)


def left(s: State) -> Floats:
    return s.curve().area_mm2[:, 0, 0]


def test_seen_places_are_summed() -> None:
    s = state()
    see(s, 0, [100, 100, 100, 100])
    see(s, 1, [100, 0, 100, 100])
    assert left(s) == pytest.approx([400, 300], rel=1e-6)


def test_hidden_places_are_not_counted_clean_and_change_when_the_machine_passed() -> None:
    s = state()
    see(s, 0, [100, 100, 100, 100])
    for t in (1.0, 2.0, 3.0):
        see(s, t, [100, 100, 100, 0], hidden=(3,))
    see(s, 4, [100, 100, 100, 20], passed={3: 2.4})
    curve = s.curve()
    assert curve.area_mm2[:, 0, 0] == pytest.approx([400, 400, 400, 320, 320], rel=1e-6)
    assert curve.low_mm2[:, 0, 0] == pytest.approx([400, 320, 320, 320, 320], rel=1e-6)
    assert curve.high_mm2[:, 0, 0] == pytest.approx([400, 400, 400, 400, 320], rel=1e-6)
    assert curve.hidden_share == pytest.approx([0, 0.25, 0.25, 0.25, 0])


def test_what_is_hidden_may_have_changed_a_little_earlier_or_later_than_the_machine_passed() -> None:
    s = state()
    see(s, 0, [100, 100, 100, 100])
    for t in (1.0, 2.0, 3.0):
        see(s, t, [100, 100, 100, 0], hidden=(3,))
    see(s, 4, [100, 100, 100, 20], passed={3: 2.4}, slack=0.5)
    curve = s.curve()
    assert curve.early_mm2[:, 0, 0] == pytest.approx([400, 400, 320, 320, 320], rel=1e-6)
    assert curve.late_mm2[:, 0, 0] == pytest.approx([400, 400, 400, 320, 320], rel=1e-6)


def test_kinds_are_bridged_apart() -> None:
    s = State(zones=np.ones((1, 2), bool), patch=np.ones(2, bool), rows=3)
    for t, both, seen in ((0.0, [60, 40], [1, 1]), (1.0, [60, 0], [1, 0]), (2.0, [60, 0], [1, 1])):
        areas = np.array([[100, sum(both) - 60], both, [40, sum(both) - both[0] - 40 + 0]], float)
        s.see(t, areas, np.array(seen, bool), lambda places, _since, _until: np.full(len(places), np.nan))
    curve = s.curve()
    assert curve.area_mm2.shape == (3, 3, 1)
    assert curve.area_mm2[:, 1, 0] == pytest.approx([100, 80, 60], rel=0.02)


def test_without_a_machine_hidden_places_change_steadily() -> None:
    s = state()
    see(s, 0, [100, 100, 100, 100])
    for t in (1.0, 2.0, 3.0):
        see(s, t, [100, 100, 100, 0], hidden=(3,))
    see(s, 4, [100, 100, 100, 20])
    assert left(s) == pytest.approx([400, 380, 360, 340, 320], rel=1e-6)


def test_places_hidden_to_the_end_stand_as_they_were_last_seen() -> None:
    s = state()
    see(s, 0, [100, 100, 100, 100])
    see(s, 1, [100, 100, 100, 0], hidden=(3,))
    curve = s.curve()
    assert curve.area_mm2[:, 0, 0] == pytest.approx([400, 400])
    assert curve.low_mm2[1, 0, 0] == pytest.approx(300)


def test_places_hidden_at_first_are_as_they_are_first_seen() -> None:
    s = state()
    see(s, 0, [100, 100, 100, 0], hidden=(3,))
    see(s, 1, [100, 100, 100, 70])
    assert left(s) == pytest.approx([370, 370], rel=1e-3)


def test_a_frame_that_shows_a_little_more_of_everything_shows_no_more_debris() -> None:
    s = state(200)
    see(s, 0, [100.0] * 200)
    see(s, 1, [0.0] * 50 + [104.0] * 150, passed=dict.fromkeys(range(50), 0.5))
    # Not wholly: a fiftieth of all stands against it.
    assert left(s) == pytest.approx([20000, 15000], rel=2e-3)
    plain = state(200)
    see(plain, 0, [100.0] * 200)
    see(plain, 1, [100.0] * 200)
    assert left(plain) == pytest.approx([20000, 20000])


def test_a_sample_that_shows_nothing_does_not_lose_how_much_frames_show_of_the_same() -> None:
    """A camera that was knocked: no place is seen, and none is touched by that."""
    s = state(100)
    see(s, 0, [108.0] * 100)
    see(s, 1, [100.0] * 100)
    see(s, 2, [0.0] * 100, hidden=tuple(range(100)))
    see(s, 3, [100.0] * 100)
    see(s, 4, [0.0] * 50 + [100.0] * 50, passed=dict.fromkeys(range(50), 3.5))
    assert s.untouched.sum() == 50
    assert left(s) == pytest.approx([10800, 10800, 10800, 10800, 5400], rel=0.005)


def test_when_and_how_much_a_place_lost_is_kept() -> None:
    s = state()
    see(s, 0, [100, 100, 100, 100])
    see(s, 1, [10, 100, 100, 100], passed={0: 0.7})
    assert s.fell_s[0] == 0.7
    assert s.fell_mm2[0] == pytest.approx(90, rel=0.01)
    assert np.isnan(s.fell_s[1]) or s.fell_mm2[1] < 1
