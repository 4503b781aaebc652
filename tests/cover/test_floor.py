from typing import TYPE_CHECKING

import numpy as np
import pytest
from numpy.typing import NDArray

from debriscount.cover.floor import average_bare, brightness, from_surroundings, local_floor

if TYPE_CHECKING:
    from tests.cover.conftest import Painter

SHAPE = (120, 160)
GRAIN_PX = 8.0


def plain(level: float) -> NDArray[np.float32]:
    return np.full((*SHAPE, 3), level, np.float32)


def bare_from(views: list[NDArray[np.float32]], covered: list[NDArray[np.bool_]]) -> NDArray[np.float32]:
    return average_bare(views, covered, np.full((*SHAPE, 3), 0.01, np.float32), GRAIN_PX)[0]


def square(top: int, left: int, side: int) -> NDArray[np.bool_]:
    mask = np.zeros(SHAPE, bool)
    mask[top : top + side, left : left + side] = True
    return mask


def test_a_floor_that_no_shot_shows_whole_is_put_together_of_both(painter: "Painter") -> None:
    truth = painter.grained(1, shape=SHAPE)
    covered = [square(20, 20, 30), square(60, 90, 40)]
    views = [np.where(mask[..., None], np.float32(0.02), truth) for mask in covered]
    np.testing.assert_allclose(bare_from(views, covered), truth, atol=1e-6)


def test_two_bare_shots_are_averaged() -> None:
    none = np.zeros(SHAPE, bool)
    np.testing.assert_allclose(bare_from([plain(0.200), plain(0.206)], [none, none]), 0.203, rtol=1e-5)


def test_a_place_shaded_in_one_shot_comes_from_the_other() -> None:
    """A shadow beside a grain that only one shot has: the floor there is the other shot's, in full light."""
    grain, none = square(40, 40, 8), np.zeros(SHAPE, bool)
    view = plain(0.2)
    view[40:48, 48:54] = 0.08
    view[grain] = 0.01
    floor = bare_from([view, plain(0.2)], [grain, none])
    np.testing.assert_allclose(floor, 0.2, rtol=0.01)


def test_shade_too_faint_to_be_seen_does_not_count_either() -> None:
    """Beside a grain 5 % of the light is missing, less than the noise tells: the shot without the grain decides."""
    grain, none = square(40, 40, 8), np.zeros(SHAPE, bool)
    view = plain(0.2)
    view[40:48, 48:54] = 0.19
    view[grain] = 0.01
    floor = bare_from([view, plain(0.2)], [grain, none])
    np.testing.assert_allclose(floor, 0.2, rtol=0.002)


@pytest.mark.parametrize("level", [0.3, 0.15])
def test_pale_grains_that_nobody_named_yet_are_no_floor_where_a_blank_shows_it(level: float) -> None:
    """Of a grain paler than the blank the floor is not the mean with it; darker things are told by the light they lack."""
    none, sigma = np.zeros(SHAPE, bool), np.full((*SHAPE, 3), 0.01, np.float32)
    view, blank = plain(0.2), plain(0.2)
    view[40:46, 40:46] = level
    floor, _ = average_bare([blank, view, view], [none] * 3, sigma, GRAIN_PX, blank=blank)
    np.testing.assert_allclose(floor, 0.2, rtol=0.002)


def test_light_that_is_wider_than_a_grain_is_not_taken_for_pale_debris() -> None:
    none, sigma = np.zeros(SHAPE, bool), np.full((*SHAPE, 3), 0.01, np.float32)
    view, blank = plain(0.2), plain(0.2)
    view[:, 60:] = 0.3
    floor, hidden = average_bare([blank, view], [none] * 2, sigma, GRAIN_PX, blank=blank)
    assert not hidden.any()
    assert floor[60, 30] == pytest.approx(0.2)
    assert floor[60, 120] == pytest.approx(0.3, rel=0.01)  # more light is the floor in full light, and no debris


def test_what_lies_in_every_shot_is_filled_from_around_it() -> None:
    # A floor that grows lighter to the right.
    ramp = np.repeat(np.linspace(0.1, 0.3, SHAPE[1], dtype=np.float32)[None, :, None], SHAPE[0], axis=0) * np.ones(
        3, np.float32
    )
    heap = square(40, 60, 20)
    views = [np.where(heap[..., None], np.float32(0.9), ramp)] * 2
    floor = bare_from(views, [heap, heap])
    np.testing.assert_allclose(floor, ramp, atol=0.015)


def test_a_floor_of_which_nothing_is_seen_is_still_a_number() -> None:
    everywhere = np.ones(SHAPE, bool)
    assert np.isfinite(bare_from([plain(0.2), plain(0.2)], [everywhere, everywhere])).all()


def test_where_no_shot_shows_the_floor_is_said() -> None:
    """Debris in both, and the blurred rim of 2 px around it, is hidden."""
    both, one = square(40, 60, 20), square(80, 20, 10)
    covered = [both | one, both]
    _, hidden = average_bare([plain(0.2), plain(0.2)], covered, np.full((*SHAPE, 3), 0.01, np.float32), GRAIN_PX)
    assert hidden[both].all()
    assert not hidden[one].any()
    far = ~square(38, 58, 24)
    assert not hidden[far].any()


@pytest.mark.parametrize("reach_px", [1.0, 4.0, 12.0, 40.0])
def test_surroundings_are_as_near_as_any_are_known(reach_px: float) -> None:
    """Light grows to the right; what is hidden, small or large, is what it would be by the ramp."""
    ramp = np.repeat(np.linspace(0.1, 0.3, SHAPE[1], dtype=np.float32)[None, :, None], SHAPE[0], axis=0) * np.ones(
        3, np.float32
    )
    hidden = square(20, 30, 6) | square(50, 80, 50)
    filled = from_surroundings(np.where(hidden[..., None], np.float32(5), ramp), ~hidden, reach_px)
    assert filled.shape == ramp.shape
    # In from the border, where a mean is lopsided, by more than its reach a mean of a ramp is the ramp.
    inner = np.s_[:, 45:115] if reach_px == 40.0 else np.s_[:, 30:130]
    np.testing.assert_allclose(filled[inner], ramp[inner], atol=0.025)


def test_however_little_is_known_it_is_taken_for_all() -> None:
    """A corner of 3 px, of a view forty times as large: floor of no light at all would be the worst of guesses."""
    corner = square(0, 0, 3)
    np.testing.assert_allclose(from_surroundings(plain(0.3), corner, 2.0), 0.3, rtol=1e-4)


def test_brightness_is_the_mean_of_the_channels() -> None:
    view = np.array([[[0.1, 0.2, 0.6], [0.0, 0.0, 0.0]]], np.float32)
    np.testing.assert_allclose(brightness(view), [[0.3, 0.0]], atol=1e-6)


def test_the_floor_hereabouts_looks_past_debris_on_a_fifth_of_it(painter: "Painter") -> None:
    strewn = painter.scatter(2, 150, 8.6)
    floor = painter.grained(1, contrast=0.02)
    view = painter.photographed(floor, strewn.cover, seed=3)
    around = local_floor(view, 51.0)
    assert around.shape == view.shape
    off = np.abs(around / painter.oak - 1)
    # Where a window is crowded the median wanders to the floor's own edge; over the whole it is right.
    assert np.quantile(off, 0.95) < 0.1
    assert np.abs(np.median(around / painter.oak, axis=(0, 1)) - 1).max() < 0.03
    plain_mean = np.abs(view.mean(axis=(0, 1)) / painter.oak - 1)
    assert plain_mean.max() > 0.1


def test_the_floor_hereabouts_keeps_a_joint_wider_than_its_window() -> None:
    view = plain(0.4)
    view[:, 80:] = 0.1
    around = local_floor(view, 15.0)
    np.testing.assert_allclose(around[:, :70], 0.4, rtol=0.02)
    np.testing.assert_allclose(around[:, 90:], 0.1, rtol=0.02)
