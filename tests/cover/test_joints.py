"""Joints of tiles and planks, drawn by hand, among things that are none."""

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from debriscount.cover.joints import LONG, floor_joints

SHAPE = (300, 400)
GRAIN_PX = 12.0
WIDEST_PX = 8.0


def line(start: tuple[int, int], end: tuple[int, int], width_px: int) -> NDArray[np.bool_]:
    drawn = np.zeros(SHAPE, np.uint8)
    cv2.line(drawn, start, end, (1,), width_px)
    return drawn > 0


def discs(*places: tuple[int, int], radius_px: int = 6) -> NDArray[np.bool_]:
    drawn = np.zeros(SHAPE, np.uint8)
    for place in places:
        cv2.circle(drawn, place, radius_px, (1,), cv2.FILLED)
    return drawn > 0


def share_taken(thing: NDArray[np.bool_], others: NDArray[np.bool_] | None = None) -> float:
    """Share of a thing that is taken for a joint."""
    mask = thing if others is None else thing | others
    return float(floor_joints(mask, GRAIN_PX, WIDEST_PX)[thing].mean())


@pytest.mark.parametrize("angle_deg", [0, 15, 30, 45, 90, 135])
@pytest.mark.parametrize("width_px", [2, 4])
def test_a_long_thin_line_is_one_at_any_heading_that_is_looked_at(width_px: int, angle_deg: int) -> None:
    x, y = (round(140 * f(np.radians(angle_deg))) for f in (np.cos, np.sin))
    assert share_taken(line((200 - x, 150 - y), (200 + x, 150 + y), width_px)) > 0.95


def test_a_line_shorter_than_a_joint_is_none() -> None:
    half = round(0.4 * LONG * GRAIN_PX)
    assert share_taken(line((200 - half, 150), (200 + half, 150), 3)) == 0


def test_a_broad_band_is_none() -> None:
    assert share_taken(line((20, 150), (380, 150), 20)) < 0.2


def test_lone_grains_and_heaps_are_none() -> None:
    assert share_taken(discs((50, 50), (200, 80), (300, 200))) == 0
    # At most bits of a heap's ragged rim lie on a line through it and are thin.
    assert share_taken(discs(*((x, y) for x in range(150, 250, 11) for y in range(100, 200, 11)))) < 0.06


def test_a_grain_on_a_joint_is_left_mostly_whole() -> None:
    grain = discs((200, 150), radius_px=8)
    joint = line((20, 150), (380, 150), 3)
    assert share_taken(grain, joint) < 0.5
    assert share_taken(joint & ~discs((200, 150), radius_px=12), grain) > 0.95


def test_grains_of_any_size_in_px_have_joints_in_proportion() -> None:
    """Large grains are looked at on a coarser raster."""
    for times in (1, 2, 4):
        mask = np.zeros((150 * times, 200 * times), np.uint8)
        cv2.line(mask, (0, 75 * times), (200 * times, 75 * times), (1,), 2 * times)
        cv2.circle(mask, (100 * times, 30 * times), 6 * times, (1,), cv2.FILLED)
        taken = floor_joints(mask > 0, GRAIN_PX * times, WIDEST_PX * times)
        assert taken.shape == mask.shape
        assert taken[75 * times, :].mean() > 0.95
        assert not taken[: 60 * times].any()


def test_nothing_holds_no_joints() -> None:
    assert not floor_joints(np.zeros(SHAPE, bool), GRAIN_PX, WIDEST_PX).any()
