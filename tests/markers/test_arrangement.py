"""Which squares are the patch's, on corners alone."""

from collections.abc import Mapping, Sequence

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from debriscount.inputs.patch import Marker
from debriscount.markers.arrangement import fitting_markers, floor_plane, off_mm, wrong_mm
from debriscount.markers.find_markers import SeenMarker

TILTED = np.array([[2.0, 0.1, 300.0], [-0.05, 2.1, 200.0], [5e-5, 1e-4, 1.0]])
FOUR = [
    Marker(n, place, 50.0) for n, place in enumerate([(-40.0, 30.0), (640.0, 30.0), (640.0, 420.0), (-40.0, 420.0)])
]
LAYOUT = {marker.id: marker.corners_mm() for marker in FOUR}


def seen_at(marker: Marker, turns: int = 0, wrong: int = 0) -> SeenMarker:
    """The marker through the tilted camera; turned clockwise, its own top left comes later."""
    corners = np.column_stack([marker.corners_mm(), np.ones(4)]) @ TILTED.T
    return SeenMarker(
        id=marker.id, corners_px=np.roll(corners[:, :2] / corners[:, 2:], -turns, axis=0), sigma_px=0.05, wrong=wrong
    )


def all_seen(*markers: Marker) -> Mapping[int, Sequence[SeenMarker]]:
    numbers = {marker.id for marker in markers}
    return {n: tuple(seen_at(m) for m in markers if m.id == n) for n in sorted(numbers)}


def middle(marker: SeenMarker) -> NDArray[np.float64]:
    return np.asarray(marker.corners_px.mean(axis=0))


def test_markers_in_their_places_are_used() -> None:
    fitting = fitting_markers(all_seen(*FOUR), LAYOUT)
    assert sorted(fitting.used) == [0, 1, 2, 3]
    assert (fitting.agree, dict(fitting.strays), dict(fitting.turned)) == (True, {}, {})


@settings(max_examples=40)
@given(st.integers(0, 3), st.floats(50, 550), st.floats(60, 380), st.booleans())
def test_of_two_of_a_number_the_one_in_its_place_is_used(number: int, x: float, y: float, first: bool) -> None:
    copy = Marker(number, (x, y), 50.0)
    markers = [copy, *FOUR] if first else [*FOUR, copy]
    fitting = fitting_markers(all_seen(*markers), LAYOUT)
    assert sorted(fitting.used) == [0, 1, 2, 3]
    np.testing.assert_allclose(middle(fitting.used[number]), middle(seen_at(FOUR[number])))
    assert not fitting.strays


def test_a_whole_second_sheet_is_passed_over() -> None:
    sheet = [Marker(n, (100.0 + 70 * n, 200.0), 50.0) for n in range(4)]
    fitting = fitting_markers(all_seen(*sheet, *FOUR), LAYOUT)
    for number in range(4):
        np.testing.assert_allclose(middle(fitting.used[number]), middle(seen_at(FOUR[number])))


def test_a_marker_far_from_its_place_is_a_stray() -> None:
    fitting = fitting_markers(all_seen(*FOUR[:3], Marker(3, (300.0, 200.0), 50.0)), LAYOUT)
    assert sorted(fitting.used) == [0, 1, 2]
    # By hand: from (-40, 420) to (300, 200).
    assert off_mm(fitting.used, LAYOUT, fitting.strays)[3] == pytest.approx(np.hypot(340, 220), abs=0.1)


@pytest.mark.parametrize("side_mm", [20.0, 90.0])
def test_a_print_of_another_size_is_not_the_patchs(side_mm: float) -> None:
    fitting = fitting_markers(all_seen(*FOUR[:3], Marker(3, (300.0, 200.0), side_mm)), LAYOUT)
    assert sorted(fitting.used) == [0, 1, 2]
    assert not fitting.strays


def test_a_print_of_another_size_is_told_from_two_markers_alone() -> None:
    fitting = fitting_markers(all_seen(FOUR[0], FOUR[2], Marker(3, (300.0, 200.0), 25.0)), LAYOUT)
    assert sorted(fitting.used) == [0, 2]
    assert fitting.agree
    assert not fitting.strays


@pytest.mark.parametrize("turns", [1, 2, 3])
def test_a_marker_that_is_turned_is_read_as_if_upright(turns: int) -> None:
    seen = {**all_seen(*FOUR), 2: (seen_at(FOUR[2], turns),)}
    fitting = fitting_markers(seen, LAYOUT)
    np.testing.assert_allclose(fitting.used[2].corners_px, seen_at(FOUR[2]).corners_px)
    assert dict(fitting.turned) == {2: turns}


def test_markers_all_upside_down_are_read_as_if_upright() -> None:
    fitting = fitting_markers({m.id: (seen_at(m, 2),) for m in FOUR}, LAYOUT)
    assert dict(fitting.turned) == dict.fromkeys(range(4), 2)
    for marker in FOUR:
        np.testing.assert_allclose(fitting.used[marker.id].corners_px, seen_at(marker).corners_px)


def test_exchanged_markers_do_not_agree() -> None:
    exchanged = [FOUR[0], Marker(1, FOUR[2].center_mm, 50.0), Marker(2, FOUR[1].center_mm, 50.0), FOUR[3]]
    fitting = fitting_markers(all_seen(*exchanged), LAYOUT)
    assert not fitting.agree or len(fitting.used) < 3


def test_markers_laid_a_little_askew_agree() -> None:
    askew = [Marker(m.id, (m.center_mm[0] + 3.0 * (-1) ** m.id, m.center_mm[1] + 2.0), 50.0) for m in FOUR]
    assert sorted(fitting_markers(all_seen(*askew), LAYOUT).used) == [0, 1, 2, 3]


def test_nothing_and_unknown_numbers() -> None:
    assert not fitting_markers({}, LAYOUT).used
    assert not fitting_markers(all_seen(Marker(9, (0.0, 0.0), 50.0)), LAYOUT).used
    assert off_mm({}, LAYOUT, {}) == {}


def test_the_plane_takes_pixels_to_the_floor() -> None:
    plane = floor_plane({m.id: seen_at(m) for m in FOUR}, LAYOUT)
    np.testing.assert_allclose(plane / plane[2, 2], np.linalg.inv(TILTED) / np.linalg.inv(TILTED)[2, 2], atol=1e-6)


def test_what_counts_as_another_layout_by_hand() -> None:
    # By hand: 0.15 x 60 = 9 mm; of 20 mm it would be 3, less than 7.5.
    assert wrong_mm(Marker(0, (5.0, 5.0), 60.0).corners_mm()) == pytest.approx(9.0)
    assert wrong_mm(Marker(0, (5.0, 5.0), 20.0).corners_mm()) == 7.5
