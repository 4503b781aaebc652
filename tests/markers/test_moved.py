"""Markers that moved between shots, on corners alone."""

from collections.abc import Mapping

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from debriscount.inputs.patch import Marker
from debriscount.markers.moved import LEAST_MOVED_MM, compare_shots, moved_markers

U_MM = 0.03
PLACES = [(-40.0, 30.0), (640.0, 30.0), (640.0, 420.0), (-40.0, 420.0), (300.0, 440.0)]
LAYOUT = {n: Marker(n, place, 50.0).corners_mm() for n, place in enumerate(PLACES)}
Places = dict[int, NDArray[np.float64]]


def shot(
    numbers: range,
    seed: int,
    pushes: Mapping[int, tuple[float, float, float]] | None = None,
    laid: float = 0.7,
    u_mm: float = U_MM,
) -> Places:
    """Corners on the floor by a view that is wrong by a plane of its own; markers are laid askew alike in all shots.

    ``pushes`` moves markers by x and y, mm, and turns them, degrees.
    """
    rng, askew = np.random.default_rng(seed), np.random.default_rng(99)
    wrong = np.eye(3) + rng.normal(0, 1, (3, 3)) * [[1e-3, 1e-3, 0.5], [1e-3, 1e-3, 0.5], [2e-7, 2e-7, 0]]
    seen = {}
    for number, corners in LAYOUT.items():
        x, y, turn = (pushes or {}).get(number, (0.0, 0.0, 0.0))
        cos, sin = np.cos(np.deg2rad(turn)), np.sin(np.deg2rad(turn))
        own = (corners - PLACES[number]) @ np.array([[cos, sin], [-sin, cos]]) + PLACES[number] + (x, y)
        own = own + askew.normal(0, laid, 2)
        if number in numbers:
            seen[number] = cv2.perspectiveTransform(own[None], wrong)[0] + rng.normal(0, u_mm / np.sqrt(2), (4, 2))
    return seen


def u(numbers: range) -> dict[int, float]:
    return dict.fromkeys(numbers, U_MM)


@settings(max_examples=60)
@given(st.integers(0, 1000), st.integers(3, 5))
def test_markers_that_stayed_are_not_said_to_have_moved(seed: int, count: int) -> None:
    numbers = range(count)
    found = compare_shots(shot(numbers, seed), shot(numbers, seed + 5000), u(numbers))
    assert found.stayed == frozenset(numbers)
    assert not found.moved
    assert found.undecided_mm is None


@settings(max_examples=60)
@given(
    st.integers(0, 1000),
    st.integers(4, 5),
    st.integers(0, 3),
    st.floats(2.5, 80),
    st.floats(0, 2 * np.pi),
    st.floats(-40, 40),
)
def test_the_marker_that_moved_is_told_and_how_far(
    seed: int, count: int, number: int, far: float, heading: float, turn: float
) -> None:
    """From 2.5 mm to farther than its side, turned or not."""
    numbers = range(count)
    push = (far * np.cos(heading), far * np.sin(heading), turn)
    found = compare_shots(shot(numbers, seed), shot(numbers, seed + 5000, {number: push}), u(numbers))
    assert set(found.moved) == {number}
    assert found.stayed == frozenset(numbers) - {number}
    assert found.moved[number] == pytest.approx(far, abs=0.5 + 0.05 * far)


def test_a_millimetre_is_told_where_corners_are_sharp() -> None:
    """*Independent*: 12 megapixels of a patch of 600 mm, 0.2 mm a pixel, corners to a twentieth of one."""
    numbers, sharp = range(4), 0.2 * 0.05 * np.sqrt(2)
    told = [
        compare_shots(
            shot(numbers, s, u_mm=sharp),
            shot(numbers, s + 5000, {2: (0.7, -0.7, 0.0)}, u_mm=sharp),
            dict.fromkeys(numbers, sharp),
        )
        for s in range(40)
    ]
    assert sum(set(one.moved) == {2} for one in told) >= 38
    assert all(set(one.moved) <= {2} for one in told)


def test_blurred_corners_raise_the_limit() -> None:
    """The same millimetre, with corners known ten times worse, is within what chance does."""
    numbers = range(4)
    a, b = shot(numbers, 1, u_mm=0.3), shot(numbers, 2, {2: (0.7, -0.7, 0.0)}, u_mm=0.3)
    assert not compare_shots(a, b, dict.fromkeys(numbers, 0.3)).moved


def test_a_push_too_small_to_matter_is_left_alone() -> None:
    numbers = range(5)
    still = compare_shots(
        shot(numbers, 1, u_mm=0.002), shot(numbers, 2, {1: (0.3, 0.0, 0.0)}, u_mm=0.002), dict.fromkeys(numbers, 0.002)
    )
    assert LEAST_MOVED_MM > 0.3
    assert still.stayed == frozenset(numbers)


def test_two_of_five_that_moved_are_both_told() -> None:
    numbers = range(5)
    pushes = {0: (12.0, 3.0, 5.0), 3: (-4.0, 9.0, 0.0)}
    found = compare_shots(shot(numbers, 4), shot(numbers, 5, pushes), u(numbers))
    assert set(found.moved) == {0, 3}


def test_of_three_the_one_whose_shape_contradicts_is_told() -> None:
    numbers = range(3)
    told = [
        compare_shots(shot(numbers, s), shot(numbers, s + 5000, {1: (6.0, -5.0, 0.0)}), u(numbers)) for s in range(30)
    ]
    assert sum(set(one.moved) == {1} for one in told) >= 28
    assert not any(set(one.moved) - {1} for one in told)


def test_of_three_alike_it_cannot_be_told_and_is_said_so() -> None:
    """Small squares and corners just sharp enough to see that something is off: any of the three may have moved."""
    numbers = range(3)
    told = [
        compare_shots(
            shot(numbers, s, u_mm=0.12),
            shot(numbers, s + 5000, {1: (3.0, -2.0, 0.0)}, u_mm=0.12),
            dict.fromkeys(numbers, 0.12),
        )
        for s in range(60)
    ]
    undecided = [one for one in told if one.undecided_mm is not None]
    assert undecided
    for one in undecided:
        assert not one.stayed
        assert one.undecided_mm is not None
        assert 1 < one.undecided_mm < 20


def test_two_in_common_say_nothing() -> None:
    found = compare_shots(shot(range(2), 1), shot(range(2), 2, {1: (30.0, 0.0, 0.0)}), u(range(2)))
    assert found.stayed == {0, 1}


@pytest.mark.parametrize("late", [False, True])
def test_it_moved_in_the_shot_where_it_is_farther_from_its_place(late: bool) -> None:
    numbers = range(4)
    push = {1: (7.0, -2.0, 0.0)}
    places = [shot(numbers, 1, None if late else push), shot(numbers, 2, push if late else None)]
    moves = moved_markers(places, LAYOUT, lambda i, k: u(numbers))
    expected = [set(), {1}] if late else [{1}, set()]
    assert [set(those) for those in moves.moved] == expected
    assert moves.moved[int(late)][1] == pytest.approx(np.hypot(7, 2), abs=0.6)


def test_a_marker_that_stays_where_it_was_pushed_has_moved_in_all_later_shots() -> None:
    numbers = range(4)
    push = {3: (4.0, 4.0, 3.0)}
    places = [shot(numbers, 1), shot(numbers, 2), shot(numbers, 3, push), shot(numbers, 4, push)]
    moves = moved_markers(places, LAYOUT, lambda i, k: u(numbers))
    assert [set(those) for those in moves.moved] == [set(), set(), {3}, {3}]
    assert not moves.undecided


def test_different_markers_may_move_in_different_shots() -> None:
    numbers = range(5)
    places = [shot(numbers, 1), shot(numbers, 2, {0: (9.0, 0.0, 0.0)}), shot(numbers, 3, {4: (0.0, -6.0, 0.0)})]
    moves = moved_markers(places, LAYOUT, lambda i, k: u(numbers))
    assert [set(those) for those in moves.moved] == [set(), {0}, {4}]


def test_a_marker_that_a_shot_lacks_does_not_matter() -> None:
    places = [shot(range(4), 1), shot(range(3), 2), shot(range(4), 3)]
    moves = moved_markers(places, LAYOUT, lambda i, k: u(range(4)))
    assert [dict(those) for those in moves.moved] == [{}, {}, {}]


def test_one_shot_alone_has_nothing_to_be_held_against() -> None:
    assert moved_markers([shot(range(4), 1)], LAYOUT, lambda i, k: {}).moved == ({},)
