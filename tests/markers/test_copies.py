from dataclasses import replace

import numpy as np
import pytest

from debriscount.markers.copies import corners_apart_px, is_copy
from debriscount.markers.find_markers import SeenMarker
from debriscount.photo.read import Photo

QUAD = np.array([[10.0, 10.0], [30.0, 10.0], [30.0, 30.0], [10.0, 30.0]])


def photo(name: str, seed: int) -> Photo:
    return Photo(np.random.default_rng(seed).integers(0, 255, (96, 128, 3), dtype=np.uint8), name)


def seen(shift: float = 0.0, scale: float = 1.0) -> dict[int, SeenMarker]:
    return {7: SeenMarker(id=7, corners_px=(QUAD + shift + 0.5) * scale - 0.5, sigma_px=0.05)}


def test_corners_are_compared_at_one_size() -> None:
    large = photo("a.png", 1)
    small = replace(large, pixels=np.zeros((48, 64, 3), np.uint8))
    assert corners_apart_px(large, seen(), small, seen(scale=0.5)) == pytest.approx(0)
    assert corners_apart_px(small, seen(scale=0.5), large, seen(2.0)) == pytest.approx(np.sqrt(2))  # px of the smaller
    assert corners_apart_px(large, seen(), replace(large, pixels=large.pixels[:60]), seen()) is None
    assert corners_apart_px(large, seen(), large, {}) is None


def test_a_copy_shows_the_same_with_its_markers_where_they_were() -> None:
    one, copy = photo("a.png", 1), photo("b.png", 1)
    assert is_copy(one, seen(), copy, seen(0.1))
    assert not is_copy(one, seen(), copy, seen(5.0))
    assert not is_copy(one, seen(), photo("c.png", 2), seen())
