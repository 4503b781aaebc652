"""How debris looks, and the limit beyond which things are floor."""

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from debriscount.cover.colours import LearnedColour
from debriscount.cover.kinds import KindHint
from debriscount.cover.looks import (
    FARTHEST,
    NO_CONTRAST,
    UsualLook,
    floor_contrasts,
    look_limit,
    looks_of,
    things_in,
    usual_look,
)

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
    assert looks_of(np.zeros((20, 20), np.int32), 0, np.zeros((20, 20, 3), np.float32)).look.shape == (0, 7)


def test_a_heap_is_as_good_as_a_grain_and_a_streak_is_not() -> None:
    usual = usual_look(np.zeros((0, 7)), KIND, LEARNED)
    mask, view = picture((20, 30, 6), (60, 60, 20))
    mask[100:103, 100:190] = True
    view[mask] = LENTIL
    labels, count = things_in(mask, 20)
    unlike = usual.unlike(looks_of(labels, count, view).look)
    grain, heap, streak = unlike[np.argsort([labels[30, 20], labels[60, 60], labels[101, 150]])]
    assert max(grain, heap) < 3 < streak


def test_what_came_or_went_tells_the_usual_look_but_for_light_that_came_or_went() -> None:
    rng = np.random.default_rng(1)
    start = usual_look(np.zeros((0, 7)), KIND, LEARNED).mean
    grains = start + rng.normal(0, 0.1, (200, 7))
    light = start + np.array([0.9, 1.2, 0.6, 1.5, 3.0, 0.0, 0.0]) + rng.normal(0, 0.1, (150, 7))
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
    usual = UsualLook(np.zeros(7), np.ones(7))
    looks = np.array([[0, 0, 0, 3, 3, -3, 3], [0, 0, 0, -3, -3, 3, -3]], float)
    np.testing.assert_allclose(usual.unlike(looks), [0, 6])
    assert usual.unlike(np.array([[3.0, 4.0, 0, 0, 0, 0, 0]]))[0] == pytest.approx(5)


def test_contrast_is_michelsons_of_a_thing_with_its_rim() -> None:
    """*Independent*: (bright - dark) / (bright + dark) of two even levels, after Michelson."""
    mask, view = picture((60, 60, 15))
    view[mask], view[~mask] = 0.3, 0.1
    labels, count = things_in(mask, 20)
    assert np.exp(looks_of(labels, count, view).look[0, 6]) == pytest.approx(0.5, rel=0.01)
    view[:] = 0.2
    assert looks_of(labels, count, view).look[0, 6] == pytest.approx(NO_CONTRAST)


def test_bare_floor_has_the_contrast_of_its_pattern_and_none_is_told_beside_debris() -> None:
    view = np.full((120, 200, 3), 0.1, np.float32)
    view[:, 100:] = 0.3
    bare = np.ones((120, 200), bool)
    contrasts = np.exp(floor_contrasts(view, bare, KIND))
    assert contrasts.max() == pytest.approx(0.5, rel=0.01)
    assert np.median(contrasts) < 1e-6
    bare[:, 80:120] = False
    assert np.exp(floor_contrasts(view, bare, KIND)).max() < 1e-6
    assert len(floor_contrasts(view, ~np.ones_like(bare), KIND)) == 0


def test_a_thing_is_faint_if_it_has_the_floors_contrast_and_not_the_kinds() -> None:
    """By hand: grains at -1 ± 0.3, floor at -3 ± 0.3 or more: -2.8 is floor; of a floor with more contrast than grains none is."""
    usual = UsualLook(np.array([0, 0, 0, 0, 0, 0, -1.0]), np.array([1, 1, 1, 1, 1, 1, 0.3]))
    look = np.zeros((3, 7))
    look[:, 6] = -2.8, -1.5, -0.2
    rng = np.random.default_rng(3)
    assert list(usual.faint(look, rng.normal(-3, 0.3, 400))) == [True, False, False]
    assert not usual.faint(look, rng.normal(0, 0.3, 400)).any()
    assert not usual.faint(look, np.full(3, -2.8)).any()
