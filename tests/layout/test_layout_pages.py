import math
from dataclasses import replace

import pytest

from debriscount.inputs.patch import Marker
from debriscount.layout.lay_patch import lay_patch
from debriscount.layout.layout_pages import Distance, check_distances_mm, distances_mm, sides_to_measure_from


@pytest.mark.parametrize(
    ("walls", "sides"),
    [
        ((), ("left", "top")),
        (("right",), ("right", "top")),
        (("right", "bottom"), ("right", "bottom")),
        (("left", "right", "bottom"), ("left", "bottom")),
    ],
)
def test_a_wall_is_measured_from_before_a_line_on_the_floor(walls: tuple[str, ...], sides: tuple[str, str]) -> None:
    assert sides_to_measure_from(lay_patch(600, 400, walls)) == sides


def test_distances_run_from_the_side() -> None:
    marker = Marker(0, (700.0, -100.0), 50.0)
    patch = replace(lay_patch(600, 400), markers=(marker,))
    assert distances_mm(patch, marker) == (Distance(675, 700, 725), Distance(-125, -100, -75))
    bottom = lay_patch(600, 400, ("right", "bottom"))
    at_wall = Marker(1, (560.0, -100.0), 50.0)
    assert distances_mm(bottom, at_wall) == (Distance(15, 40, 65), Distance(475, 500, 525))


def test_four_squares_are_checked_pair_by_pair() -> None:
    checks = check_distances_mm(lay_patch(600, 400))
    assert [(a, b) for a, b, _ in checks] == [(0, 1), (0, 2), (0, 3), (1, 2), (1, 3), (2, 3)]
    assert {(a, b): mm for a, b, mm in checks}[0, 2] == pytest.approx(math.hypot(800, 600))


def test_of_many_squares_each_is_checked_against_the_two_farthest() -> None:
    markers = tuple(Marker(n, (100.0 * n, 0.0), 50.0) for n in range(10))
    checks = check_distances_mm(replace(lay_patch(600, 400), markers=markers))
    assert (0, 9, 900) in checks
    assert (0, 8, 800) in checks
    assert {number for a, b, _ in checks for number in (a, b)} == set(range(10))
    assert len(checks) < 20
