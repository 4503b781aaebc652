"""Lone fine grains tell what full cover is: made-up cover whose strength is set by hand."""

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from debriscount.cover.fine import FEWEST_LONE, fine_spots, full_cover, lone_cover
from debriscount.cover.kinds import KindHint

KIND = KindHint(np.zeros(3), (1.8, 2.2))
AREA = np.pi / 4 * 1.8 * 2.2  # of a middling grain, px


def cover_of_points(places: NDArray[np.int64], strength: float) -> NDArray[np.float32]:
    """Points of a grain's area each, blurred as a photo is, times a strength."""
    cover = np.zeros((200, 200), np.float32)
    np.add.at(cover, (places[:, 1], places[:, 0]), np.float32(strength * AREA))
    return np.asarray(cv2.GaussianBlur(cover, (0, 0), 0.9), np.float32)


def grid_of_places(step: int) -> NDArray[np.int64]:
    return np.stack(np.meshgrid(np.arange(10, 190, step), np.arange(10, 190, step)), axis=-1).reshape(-1, 2)


@pytest.mark.parametrize("strength", [0.7, 1.0, 1.6])
def test_full_cover_is_the_strength_at_which_grains_show(strength: float) -> None:
    cover = cover_of_points(grid_of_places(12), strength)
    sums = lone_cover(fine_spots(cover, np.full(cover.shape, 0.01, np.float32), KIND), np.ones(cover.shape, bool))
    assert len(sums) == 15**2
    # Of a Gaussian of 0.9 px, the grown spot holds nearly all.
    assert full_cover(sums, KIND) == pytest.approx(strength, rel=0.05)


def test_spots_of_two_grains_and_spots_at_the_border_of_what_is_usable_do_not_count() -> None:
    lone = grid_of_places(24)
    pairs = lone[::3] + np.array([4, 0])
    cover = cover_of_points(np.concatenate([lone, pairs]), 1.0)
    usable = np.ones(cover.shape, bool)
    usable[:11] = False
    sums = lone_cover(fine_spots(cover, np.full(cover.shape, 0.01, np.float32), KIND), usable)
    on_top_row = 8
    assert len(lone) == 64
    assert len(sums) == len(lone) - on_top_row - int((pairs[:, 1] > 10).sum())


def test_two_grains_at_one_place_do_not_pull_the_middle() -> None:
    assert full_cover(np.r_[np.full(60, AREA), np.full(40, 2 * AREA)], KIND) == pytest.approx(1)


def test_full_cover_is_one_where_lone_grains_are_few_or_unlike_each_other() -> None:
    assert full_cover(np.full(FEWEST_LONE - 1, 2 * AREA), KIND) == 1
    assert full_cover(np.full(FEWEST_LONE, 2 * AREA), KIND) == pytest.approx(2)
    assert full_cover(2 * AREA * np.exp(np.linspace(-2, 2, 200)), KIND) == 1
