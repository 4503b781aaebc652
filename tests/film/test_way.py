"""When a machine passed over places; its way is drawn here."""

import numpy as np
import pytest

from debriscount.film.way import Way

STEP_S = 0.2


def driven(*parts: tuple[float, tuple[float, float], tuple[float, float]]) -> Way:
    """A way of parts, each so many seconds long from a place to another."""
    way, start = Way(), 0.0
    for seconds, begin, end in parts:
        for t in np.arange(0, seconds - 1e-9, STEP_S):
            x, y = np.array(begin) + t / seconds * (np.array(end) - np.array(begin))
            way.add(start + float(t), float(x), float(y))
        start += seconds
    return way


ALONG = driven((5.0, (0, 0), (1000, 0)))


def test_a_place_is_passed_when_the_middle_is_beside_it() -> None:
    passed = ALONG.passed_s(np.array([[500.0, 0.0], [300.0, 90.0], [300.0, -150.0]]), 0.0, 5.0, 160.0)
    assert passed == pytest.approx([2.5, 1.5, 1.5], abs=0.01)


def test_what_lies_beside_the_machine_or_outside_of_the_time_is_not_passed() -> None:
    places = np.array([[500.0, 170.0], [900.0, 0.0], [100.0, 0.0]])
    assert np.isnan(ALONG.passed_s(places, 1.0, 4.0, 160.0)).all()


def test_a_machine_that_turns_on_the_spot_takes_what_lies_ahead_of_it() -> None:
    # In along x, a turn of a second by a quarter, out along y.
    way = driven((3.0, (0, 0), (600, 0)), (1.0, (600, 0), (600, 0)), (3.0, (600, 0), (600, 600)))
    # Ahead and to the left the mouth's left half comes round during the turn, to the right it comes on the way out.
    left, right = way.passed_s(np.array([[670.0, -70.0], [640.0, 200.0]]), 0.0, 7.0, 160.0)
    assert 3.0 < left < 4.0
    assert right == pytest.approx(5.0, abs=0.1)


def test_the_first_time_within_the_mouth_counts() -> None:
    way = driven((5.0, (0, 0), (1000, 0)), (1.0, (1000, 0), (1000, 80)), (5.0, (1000, 80), (0, 80)))
    within, beside = way.passed_s(np.array([[500.0, 60.0], [500.0, 120.0]]), 0.0, 11.0, 160.0)
    assert within == pytest.approx(2.5, abs=0.05)
    assert beside == pytest.approx(8.5, abs=0.05)  # nearer on the way back, and not within the mouth before


def test_a_machine_that_was_not_seen_for_long_passed_nothing_meanwhile() -> None:
    way = Way()
    for t, x in ((0.0, 0.0), (0.2, 40.0), (4.0, 800.0), (4.2, 840.0)):
        way.add(t, x, 0.0)
    assert np.isnan(way.passed_s(np.array([[400.0, 0.0]]), 0.0, 5.0, 160.0)).all()
    assert np.isnan(Way().passed_s(np.array([[400.0, 0.0]]), 0.0, 5.0, 160.0)).all()


def test_a_turn_out_of_view_takes_nothing_far_away() -> None:
    way = driven((3.0, (0, 0), (600, 0)))
    for t, x in ((4.6, 600.0), (4.8, 560.0), (5.0, 520.0), (5.2, 480.0)):  # back beside its way
        way.add(t, x, 140.0)
    passed = way.passed_s(np.array([[300.0, 140.0], [500.0, 140.0]]), 3.0, 6.0, 125.0)
    assert np.isnan(passed[0])
    assert passed[1] == pytest.approx(5.1, abs=0.05)
