"""What a patch knows of places: how far they are from its sides, where walls meet, and what lies in it."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from debriscount.inputs.patch import WALL_SIDES, ZONES, Patch, zone_in_patch

PATCH = Patch("bench", 200.0, 100.0, ("top", "left"), (), edge_mm=20.0, corner_mm=40.0, margin_mm=10.0)
#: Ten times as far as the patch is wide, on both sides.
places = st.floats(-2000, 2000)


def test_distances_are_those_from_each_side() -> None:
    assert [PATCH.to_side_mm(side, 30.0, 20.0) for side in WALL_SIDES] == [20.0, 170.0, 80.0, 30.0]


@given(places, places)
def test_distances_from_two_sides_that_face_each_other_add_up_to_the_size(x: float, y: float) -> None:
    to = {side: PATCH.to_side_mm(side, x, y) for side in WALL_SIDES}
    assert to["left"] + to["right"] == pytest.approx(PATCH.width_mm)
    assert to["top"] + to["bottom"] == pytest.approx(PATCH.height_mm)


@given(places, places)
def test_a_place_in_the_patch_lies_beyond_none_of_its_sides(x: float, y: float) -> None:
    nearest = min(PATCH.to_side_mm(side, x, y) for side in WALL_SIDES)
    if nearest != 0:
        assert bool(PATCH.inside([x], [y])[0]) == (nearest > 0)


def test_distances_of_single_precision_stay_so() -> None:
    x = np.array([[0, 50]], np.float32)
    assert PATCH.to_side_mm("right", x, x).dtype == np.float32


@pytest.mark.parametrize(
    ("walls", "pairs"),
    [
        ((), []),
        (("top", "bottom"), []),
        (("left", "top"), [("top", "left")]),
        (WALL_SIDES, [("top", "left"), ("bottom", "left"), ("top", "right"), ("bottom", "right")]),
    ],
)
def test_walls_meet_where_they_are_neighbours(walls: tuple[str, ...], pairs: list[tuple[str, str]]) -> None:
    assert replace(PATCH, walls=walls).wall_corners() == pairs


def test_corners_go_round_from_the_origin_and_close_the_area() -> None:
    x, y = PATCH.corners_mm().T
    assert (x[0], y[0], x[1], y[1]) == (0, 0, 200, 0)
    assert (x * np.roll(y, -1) - y * np.roll(x, -1)).sum() / 2 == pytest.approx(200 * 100)


def test_the_corner_is_a_square_and_takes_its_place_from_the_edges() -> None:
    # By hand: edges of 20 mm, a corner of 40 mm.
    codes = PATCH.zone_codes([35, 35, 15, 35, 45, 45], [35, 15, 35, 45, 15, 45])
    assert [ZONES[code] for code in codes] == ["corner", "corner", "corner", "open", "edge", "open"]


def test_margin_and_what_lies_beyond_are_not_in_the_patch() -> None:
    codes = PATCH.zone_codes([10, 100, 100, 205, 300], [10, 10, 60, 50, 50])  # corner, edge, open, margin, outside
    assert zone_in_patch(codes).tolist() == [True, True, True, False, False]
