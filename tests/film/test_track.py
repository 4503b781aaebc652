"""Heading, speed, lanes, turns and passes of made-up ways."""

import numpy as np
import pytest

from debriscount.arrays import Floats
from debriscount.film.curve import State
from debriscount.film.strips import with_strips
from debriscount.film.track import Lane, Track, lanes, outings, track_of, turns
from debriscount.inputs.patch import Patch

PATCH = Patch("bench", 900.0, 600.0, (), (), edge_mm=30, corner_mm=60, margin_mm=60)


def there_and_back(pause_s: float = 0.0) -> Track:
    """Along y = 100 to the right at 200 mm/s, up at once to y = 300 and back, with a pause in the open between."""
    step = 0.2
    right = np.arange(-300, 1201, 200 * step)
    first = np.stack([right, np.full_like(right, 100.0)], axis=-1)
    second = np.stack([right[::-1], np.full_like(right, 300.0)], axis=-1)
    places: Floats = np.concatenate([first, second])
    times = np.asarray(step * np.arange(len(places)), np.float64)
    times[len(first) :] += pause_s
    return track_of(times, places[:, 0], places[:, 1], 300.0)


def test_speed_and_heading_along_a_straight_way() -> None:
    track = there_and_back()
    assert track.speed_mm_s[10] == pytest.approx(200)
    assert track.heading_deg[10] == pytest.approx(0)
    assert track.heading_deg[-10] == pytest.approx(180)


def test_a_machine_that_stands_has_no_heading() -> None:
    times = np.linspace(0, 1.8, 10)
    track = track_of(times, np.full(10, 5.0), np.full(10, 7.0), None)
    assert np.isnan(track.heading_deg).all()
    assert (track.speed_mm_s < 1).all()


def test_lanes_and_the_turn_between_them() -> None:
    driven = lanes(there_and_back(), PATCH)
    assert [round(lane.heading_deg) % 360 for lane in driven] == [0, 180]
    (turn,) = turns(driven)
    assert abs(turn.turned_deg) == pytest.approx(180, abs=1)
    assert turn.x_mm > 900


def test_a_run_beside_the_patch_is_no_lane() -> None:
    x = np.arange(0, 900, 40.0)
    track = track_of(np.asarray(0.2 * np.arange(len(x)), np.float64), x, np.full_like(x, 800.0), 300.0)
    assert lanes(track, PATCH) == ()


def test_a_long_pause_in_the_open_parts_passes() -> None:
    assert len(outings(there_and_back(), PATCH)) == 1
    first, second = outings(there_and_back(pause_s=9.0), PATCH)
    assert second.start_s - first.end_s > 9
    # From -150 to 1050 mm at 200 mm/s.
    assert first.on_patch_s == pytest.approx(6, abs=0.5)


def test_a_strip_is_where_debris_went_meanwhile() -> None:
    x, y = np.meshgrid(np.arange(2.5, 900, 5), np.arange(2.5, 600, 5))
    places = np.stack([x.ravel(), y.ravel()], axis=-1)
    state = State(zones=np.ones((1, len(places)), bool), patch=np.ones(len(places), bool))
    cleaned = np.abs(places[:, 1] - 110) < 100
    state.fell_mm2[cleaned], state.fell_s[cleaned] = 2.0, 3.0
    state.fell_mm2[~cleaned], state.fell_s[~cleaned] = 2.0, 99.0
    lane = Lane(start_s=0.0, end_s=7.0, start_mm=(-200.0, 100.0), end_mm=(1100.0, 100.0), heading_deg=0.0)
    (found,) = with_strips([lane], state, places, 1.0)
    assert found.cleaned_mm == pytest.approx(200, abs=6)
    assert found.cleaned_off_mm == pytest.approx(10, abs=3)
    (nothing,) = with_strips([lane], State(zones=state.zones, patch=state.patch), places, 1.0)
    assert nothing.cleaned_mm is None
