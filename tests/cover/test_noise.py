from typing import TYPE_CHECKING

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from debriscount.cover.noise import FEWEST, learn_mix, learn_noise, sigma_map, tail_factor

if TYPE_CHECKING:
    from tests.cover.conftest import Painter

SHAPE = (400, 500)
ALL = np.ones(SHAPE, bool)


def steps() -> NDArray[np.float32]:
    """A floor of two plain halves, dark and light."""
    floor = np.full((*SHAPE, 3), 0.05, np.float32)
    floor[:, 250:] = 0.5
    return floor


def test_the_noise_of_dark_and_light_floor_is_learned_apart() -> None:
    """Shot noise: standard deviation 0.002 on the dark half, 0.010 on the light one; blue has twice as much."""
    rng = np.random.default_rng(1)
    floor = steps()
    true = np.where(floor == np.float32(0.05), 0.002, 0.010) * np.array([1, 1, 2])
    difference = (true * rng.standard_normal(floor.shape)).astype(np.float32)
    sigma = sigma_map(learn_noise(difference, floor, ALL), floor)
    assert sigma.shape == floor.shape
    # Away from the step; a bin of 200 readings has its spread to 8 %.
    inner = np.r_[10:240, 260:490]
    np.testing.assert_allclose(np.median(sigma[:, inner] / true[:, inner]), 1, atol=0.02)
    assert np.abs(sigma[:, inner] / true[:, inner] - 1).max() < 0.3


def test_debris_on_two_fifths_of_the_floor_does_not_raise_the_noise(painter: "Painter") -> None:
    rng = np.random.default_rng(2)
    floor = np.full((*SHAPE, 3), 0.2, np.float32)
    difference = (0.004 * rng.standard_normal(floor.shape)).astype(np.float32)
    debris = rng.random(SHAPE) < 0.4
    difference[debris] += 0.2
    sigma = sigma_map(learn_noise(difference, floor, ALL), floor)
    # By hand: with 40 % far off, the median of all is the 83rd percentile of |noise|: 1.38 / 0.674 = 2.0 times.
    assert 0.004 < np.median(sigma) < 0.0085


def test_what_is_not_usable_teaches_nothing() -> None:
    rng = np.random.default_rng(3)
    floor = np.full((*SHAPE, 3), 0.2, np.float32)
    difference = (0.004 * rng.standard_normal(floor.shape)).astype(np.float32)
    difference[:, 100:] *= 50
    usable = ALL.copy()
    usable[:, 100:] = False
    sigma = sigma_map(learn_noise(difference, floor, usable), floor)
    assert np.median(sigma) == pytest.approx(0.004, rel=0.03)


def test_a_floor_of_sharp_joints_is_noisier_at_the_joints() -> None:
    """Joints that the alignment misses by a little differ more than the plain tiles between them."""
    rng = np.random.default_rng(4)
    floor = np.full((*SHAPE, 3), 0.4, np.float32)
    joint = np.zeros(SHAPE, bool)
    joint[::20] = joint[:, ::20] = True
    floor[joint] = 0.2
    beside = cv2.dilate(joint.astype(np.uint8), np.ones((3, 3), np.uint8)).astype(bool)
    difference = (np.where(beside, 0.02, 0.003)[..., None] * rng.standard_normal(floor.shape)).astype(np.float32)
    sigma = sigma_map(learn_noise(difference, floor, ALL), floor)
    assert np.median(sigma[~beside]) == pytest.approx(0.003, rel=0.1)
    assert np.median(sigma[beside & ~joint]) == pytest.approx(0.02, rel=0.1)


def test_no_noise_is_below_half_a_step_of_the_darkest_level() -> None:
    floor = np.full((*SHAPE, 3), 0.2, np.float32)
    sigma = sigma_map(learn_noise(np.zeros_like(floor), floor, ALL), floor)
    # By hand: one step of 8-bit sRGB near black is 1 / 255 / 12.92 = 3.035e-4 of full light.
    assert float(sigma.min()) == pytest.approx(3.035e-4 / 2, rel=1e-3)


def unit_noise(seed: int) -> NDArray[np.float32]:
    return np.random.default_rng(seed).standard_normal((*SHAPE, 3)).astype(np.float32)


def test_independent_noise_mixes_nothing() -> None:
    sigma = np.full((*SHAPE, 3), 0.004, np.float32)
    mix = learn_mix(0.004 * unit_noise(5), sigma, ALL, 8.0)
    np.testing.assert_allclose(mix, np.eye(3), atol=0.1)
    assert np.trace(mix) == pytest.approx(3)


def test_noise_that_all_channels_share_is_seen_as_shared() -> None:
    noise = unit_noise(6)
    noise[..., 1] = 0.8 * noise[..., 0] + 0.6 * noise[..., 1]
    mix = learn_mix(0.004 * noise, np.full((*SHAPE, 3), 0.004, np.float32), ALL, 8.0)
    assert mix[0, 1] / np.sqrt(mix[0, 0] * mix[1, 1]) == pytest.approx(0.8, abs=0.05)
    np.testing.assert_allclose(mix, mix.T)


def test_colour_that_comes_in_blocks_weighs_more_than_brightness() -> None:
    """Blue noise in blocks of 4 px does not average out over a grain of 8 px; the others' does."""
    noise = unit_noise(7)
    blocks = np.random.default_rng(8).standard_normal((SHAPE[0] // 4, SHAPE[1] // 4)).astype(np.float32)
    noise[..., 2] = cv2.resize(blocks, (SHAPE[1], SHAPE[0]), interpolation=cv2.INTER_NEAREST)
    mix = learn_mix(0.004 * noise, np.full((*SHAPE, 3), 0.004, np.float32), ALL, 8.0)
    assert mix[2, 2] > 2.5
    assert mix[2, 2] / mix[0, 0] > 5


def test_debris_is_kept_out_of_the_mix(painter: "Painter") -> None:
    noise = 0.004 * unit_noise(9)
    noise[painter.scatter(1, 60, 6.0, SHAPE).cover > 0] += (0.05, -0.1, -0.08)
    mix = learn_mix(noise, np.full((*SHAPE, 3), 0.004, np.float32), ALL, 8.0)
    np.testing.assert_allclose(mix, np.eye(3), atol=0.15)


def test_too_little_floor_gives_no_mix() -> None:
    usable = np.zeros(SHAPE, bool)
    usable[:10, :10] = True
    assert FEWEST > 12
    mix = learn_mix(0.004 * unit_noise(10), np.full((*SHAPE, 3), 0.004, np.float32), usable, 8.0)
    np.testing.assert_array_equal(mix, np.eye(3))


@pytest.mark.parametrize("clean", [True, False], ids=["clean", "debris may lie there"])
def test_noise_twice_as_wide_as_said_has_tails_twice_as_far_out(clean: bool) -> None:
    """*Published*: 2.81 standard deviations are exceeded by one in two hundred on both sides, one in four hundred on one."""
    rng = np.random.default_rng(8)
    z = (2 * rng.standard_normal(SHAPE)).astype(np.float32)
    floor = rng.uniform(0.1, 0.3, (*SHAPE, 3)).astype(np.float32)
    factor = tail_factor(z, floor, ALL, clean)
    assert factor is not None
    assert np.median(factor) == pytest.approx(2.0, rel=0.04)


def test_debris_is_not_taken_for_the_floors_tail() -> None:
    rng = np.random.default_rng(9)
    z = rng.standard_normal(SHAPE).astype(np.float32)
    z[rng.random(SHAPE) < 0.02] = 30.0  # what a machine flung there
    floor = rng.uniform(0.1, 0.3, (*SHAPE, 3)).astype(np.float32)
    factor = tail_factor(z, floor, ALL, clean=False)
    assert factor is not None
    assert np.median(factor) < 1.1
