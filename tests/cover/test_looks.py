"""How debris looks, and the limit beyond which things are floor."""

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from debriscount.cover.colours import LearnedColour
from debriscount.cover.kinds import KindHint
from debriscount.cover.looks import FARTHEST, UsualLook, look_limit, looks_of, things_in, usual_look

LENTIL = np.array([0.35, 0.06, 0.02])
KIND = KindHint(LENTIL, (11.0, 13.0))
LEARNED = LearnedColour(LENTIL, np.diag((0.1 * LENTIL) ** 2), (0.0, 0.0), 1000)


def picture(*things: tuple[int, int, int]) -> tuple[np.ndarray, np.ndarray]:
    """A mask and a view with discs of the kind's colour: column, row, radius."""
    mask = np.zeros((120, 200), np.uint8)
    for x, y, radius in things:
        cv2.circle(mask, (x, y), radius, (1,), -1)
    view = np.where(mask[..., None] > 0, LENTIL, [0.3, 0.2, 0.1]).astype(np.float32)
    return mask > 0, view


def test_things_have_area_radius_and_a_place_within() -> None:
    mask, view = picture((30, 30, 6), (100, 60, 12))
    labels, count = things_in(mask, 20)
    looks = looks_of(labels, count, view)
    assert count == 2
    np.testing.assert_allclose(looks.area_px, [np.pi * 6**2, np.pi * 12**2], rtol=0.05)
    np.testing.assert_allclose(np.exp(looks.look[:, 3]), [6.5, 12.5], atol=1)
    np.testing.assert_allclose(looks.look[0, :3], looks.look[1, :3])
    assert all(mask[r, c] for r, c in zip(looks.row, looks.column, strict=True))


def test_specks_are_no_things() -> None:
    mask, _ = picture((30, 30, 6))
    mask[80, 80] = True
    assert things_in(mask, 4)[1] == 1
    assert looks_of(np.zeros((20, 20), np.int32), 0, np.zeros((20, 20, 3), np.float32)).look.shape == (0, 6)


def test_a_heap_is_as_good_as_a_grain_and_a_streak_is_not() -> None:
    usual = usual_look(np.zeros((0, 6)), KIND, LEARNED)
    mask, view = picture((20, 30, 6), (60, 60, 20))
    mask[100:103, 100:190] = True
    view[mask] = LENTIL
    labels, count = things_in(mask, 20)
    unlike = usual.unlike(looks_of(labels, count, view).look)
    grain, heap, streak = unlike[np.argsort([labels[30, 20], labels[60, 60], labels[101, 150]])]
    assert max(grain, heap) < 3 < streak


def test_what_came_or_went_tells_the_usual_look_but_for_light_that_came_or_went() -> None:
    rng = np.random.default_rng(1)
    start = usual_look(np.zeros((0, 6)), KIND, LEARNED).mean
    grains = start + rng.normal(0, 0.1, (200, 6))
    light = start + np.array([0.9, 1.2, 0.6, 1.5, 3.0, 0.0]) + rng.normal(0, 0.1, (150, 6))
    usual = usual_look(np.concatenate([grains, light]), KIND, LEARNED)
    np.testing.assert_allclose(usual.mean, start, atol=0.06)


def test_the_limit_lies_where_the_floor_around_begins_to_show_the_same() -> None:
    """By hand: forty grains like debris in the patch, and as much of the floor's own there as around, less alike."""
    unlike = np.concatenate([np.linspace(0.1, 2.0, 40), np.linspace(3.0, 7.0, 30), np.linspace(3.0, 7.0, 30)])
    strewn = np.concatenate([np.ones(70, bool), np.zeros(30, bool)])
    limit = look_limit(unlike, np.full(100, 50.0), strewn, 1e6, 1e6)
    assert 2.0 <= limit < 3.2


def test_nothing_is_debris_where_the_floor_around_shows_just_as_much() -> None:
    unlike = np.tile(np.linspace(0.1, 5, 50), 2)
    limit = look_limit(unlike, np.full(100, 50.0), np.arange(100) < 50, 1e6, 1e6)
    assert not (unlike < limit).any()


def test_without_floor_around_only_what_is_far_off_is_left_out() -> None:
    assert look_limit(np.array([1.0, 20.0]), np.ones(2), np.ones(2, bool), 1e6, 0.0) == FARTHEST


@settings(max_examples=30)
@given(st.lists(st.floats(0.0, 7.0), min_size=1, max_size=30))
def test_a_floor_around_that_shows_nothing_leaves_all_in(unlike: list[float]) -> None:
    assert look_limit(np.array(unlike), np.ones(len(unlike)), np.ones(len(unlike), bool), 1e6, 1e6) == FARTHEST


def test_larger_thicker_and_more_compact_is_no_fault() -> None:
    usual = UsualLook(np.zeros(6), np.ones(6))
    looks = np.array([[0, 0, 0, 3, 3, -3], [0, 0, 0, -3, -3, 3]], float)
    np.testing.assert_allclose(usual.unlike(looks), [0, np.sqrt(27)])
    assert usual.unlike(np.array([[3.0, 4.0, 0, 0, 0, 0]]))[0] == pytest.approx(5)
