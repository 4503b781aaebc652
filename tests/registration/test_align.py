import cv2
import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.ndimage import map_coordinates

from debriscount.registration.align import (
    EVERY,
    floor_likeness,
    improve_shift,
    no_shift,
    residual_mm,
    texture_of,
    texture_pull,
)
from debriscount.registration.grid import FloorGrid
from debriscount.registration.resample import Shift

SHAPE = (256, 384)
GRID = FloorGrid(x0_mm=-10.0, y0_mm=5.0, mm_per_px=0.5, height_px=SHAPE[0], width_px=SHAPE[1])
ALL = np.ones(SHAPE, bool)
PLACES = np.stack(np.meshgrid(GRID.x_mm(), GRID.y_mm()), axis=-1)


def pattern(seed: int, scale_px: float = 2.5, pad: int = 16) -> NDArray[np.float32]:
    """Smooth noise with a border, standard deviation 0.1."""
    shape = (SHAPE[0] + 2 * pad, SHAPE[1] + 2 * pad)
    noise = np.random.default_rng(seed).standard_normal(shape).astype(np.float32)
    smooth = cv2.GaussianBlur(noise, (0, 0), scale_px)
    return np.asarray(0.1 * smooth / smooth.std(), np.float32)


def cut(
    picture: NDArray[np.float32],
    column: float | NDArray[np.float64] = 0.0,
    row: float | NDArray[np.float64] = 0.0,
    seed: int = 9,
) -> NDArray[np.float32]:
    """The inner part of a picture, looked up at shifted places, with noise of 0.003."""
    y, x = np.mgrid[0 : SHAPE[0], 0 : SHAPE[1]] + 16.0
    # By splines: OpenCV's remap would round places to 1/32 px.
    inner = map_coordinates(picture, [y + row, x + column], order=3)
    noise = 0.003 * np.random.default_rng(seed).standard_normal(SHAPE)
    return np.asarray(inner + noise, np.float32)


def align(picture: NDArray[np.float32], true_px: NDArray[np.float64]) -> Shift:
    """Three rounds, as registration does them, with a view that is off by ``true_px``."""
    reference = cut(picture, seed=1)
    shift = no_shift(GRID)
    for _ in range(3):
        at = shift.at(PLACES) / GRID.mm_per_px - true_px
        moving = cut(picture, at[..., 0], at[..., 1], seed=2)
        pull = texture_pull(reference, moving, ALL, GRID)
        shift = improve_shift(shift, pull, GRID.mm_per_px, prior_mm=2.0)
    return shift


def test_a_shift_of_a_pixel_and_a_half_is_found_to_a_fiftieth_of_a_pixel() -> None:
    shift = align(pattern(1), np.array([1.5, -0.8]))
    np.testing.assert_allclose(shift.at(PLACES[::50, ::50]) / GRID.mm_per_px, [[[1.5, -0.8]] * 8] * 6, atol=0.02)


def test_a_shift_that_bends_over_the_floor_is_followed() -> None:
    """One lens term that the markers missed moves places by up to 2 px outward, cubed in the radius."""
    off = (PLACES - (85.75, 68.75)) / 100
    true = 2 * off * (off**2).sum(axis=-1, keepdims=True)
    shift = align(pattern(1), true)
    left = shift.at(PLACES) / GRID.mm_per_px - true
    assert np.abs(true).max() > 1.5
    assert float(np.sqrt((left**2).sum(axis=-1).mean())) < 0.03


def test_debris_that_is_kept_out_does_not_pull() -> None:
    """A third of the floor moves the other way; it is not called usable."""
    usable = ALL.copy()
    usable[:, :128] = False
    reference, moving = cut(pattern(1), seed=1), cut(pattern(1), 0.5, 0.0, seed=2)
    moving[:, :128] = cut(pattern(4))[:, :128]
    pull = texture_pull(reference, moving, usable, GRID)
    shift = improve_shift(no_shift(GRID, degree=0), pull, GRID.mm_per_px, prior_mm=2.0)
    assert shift.coefficients[:, 0] / GRID.mm_per_px == pytest.approx([-0.5, 0.0], abs=0.05)
    # Tiles that are not usable carry nothing.
    left = pull.places_mm[:, 0] < GRID.x_mm()[96]
    assert left.sum() >= 8
    assert not pull.gram[left].any()


def test_a_lamp_that_changed_is_no_shift() -> None:
    """Brightness that varies over the floor in one view only does not move the texture."""
    x, y = np.meshgrid(np.linspace(-1, 1, SHAPE[1]), np.linspace(-1, 1, SHAPE[0]))
    lamp = (0.3 * x - 0.2 * y + 0.2 * x * y).astype(np.float32)
    pull = texture_pull(cut(pattern(2), seed=1), cut(pattern(2), seed=2) + lamp, ALL, GRID)
    shift = improve_shift(no_shift(GRID), pull, GRID.mm_per_px, prior_mm=2.0)
    places = np.array([[10.0, 20.0], [80.0, 60.0], [170.0, 120.0]])
    assert np.abs(shift.at(places)).max() / GRID.mm_per_px < 0.1


def test_where_there_is_no_texture_the_markers_keep_their_word() -> None:
    nothing = np.zeros_like(pattern(1))
    pull = texture_pull(cut(nothing, seed=1), cut(nothing, seed=2), ALL, GRID)
    shift = improve_shift(no_shift(GRID), pull, GRID.mm_per_px, prior_mm=0.2)
    places = np.array([[10.0, 20.0], [80.0, 60.0], [170.0, 120.0]])
    # Noise alone says no more than a few hundredths of a millimetre.
    assert np.abs(shift.at(places)).max() < 0.1
    assert residual_mm(pull, GRID.mm_per_px) is None


def test_a_narrow_prior_outweighs_texture_and_a_wide_one_does_not() -> None:
    pull = texture_pull(cut(pattern(1), seed=1), cut(pattern(1), 1.0, 0.0, seed=2), ALL, GRID)
    found = [improve_shift(no_shift(GRID, 0), pull, GRID.mm_per_px, prior).coefficients[0, 0] for prior in (1e-6, 5.0)]
    assert abs(found[0]) < 1e-3
    assert found[1] / GRID.mm_per_px == pytest.approx(-1.0, abs=0.1)


def test_tiles_lie_at_their_centres() -> None:
    pull = texture_pull(cut(pattern(1)), cut(pattern(1)), ALL, GRID)
    # By hand: 32 px tiles, the middle of the first is column and row 15.5: -10 + 0.5 * 15.5 = -2.25.
    assert pull.places_mm.shape == (8 * 12, 2)
    np.testing.assert_allclose(pull.places_mm[0], [-2.25, 12.75])
    np.testing.assert_allclose(pull.places_mm[-1], [-2.25 + 11 * 16, 12.75 + 7 * 16])


def test_the_residual_is_the_shift_that_is_left() -> None:
    pull = texture_pull(cut(pattern(3), seed=1), cut(pattern(3), 0.3, 0.4, seed=2), ALL, GRID)
    # A shift of (0.3, 0.4) px is 0.5 px, 0.25 mm.
    assert residual_mm(pull, GRID.mm_per_px) == pytest.approx(0.25, abs=0.02)
    level = texture_pull(cut(pattern(3), seed=1), cut(pattern(3), seed=2), ALL, GRID)
    assert residual_mm(level, GRID.mm_per_px) == pytest.approx(0, abs=0.02)


def test_next_to_no_usable_floor_says_nothing() -> None:
    usable = np.zeros(SHAPE, bool)
    usable[:20, :20] = True
    pull = texture_pull(cut(pattern(1)), cut(pattern(1), 1.0), usable, GRID)
    assert len(pull.gram) == 0
    assert residual_mm(pull, GRID.mm_per_px) is None
    start = no_shift(GRID)
    np.testing.assert_allclose(improve_shift(start, pull, GRID.mm_per_px, 1.0).coefficients, 0)


def test_no_shift_is_nothing_at_all_and_scaled_to_the_grid() -> None:
    shift = no_shift(GRID, degree=2)
    assert shift.coefficients.shape == (2, 6)
    assert not shift.at(np.array([[3.0, 4.0]])).any()
    # By hand: columns span -10 to -10 + 0.5 * 383 = 181.5 mm.
    assert shift.center_mm == (85.75, 5 + 0.25 * 255)
    assert shift.half_mm == pytest.approx(0.25 * 383)


def coarse(seed: int) -> NDArray[np.float32]:
    return cut(pattern(seed, scale_px=5.0), seed=seed + 100)


def likeness_of(one: NDArray[np.float32], other: NDArray[np.float32], usable: NDArray[np.bool_]) -> float | None:
    return floor_likeness(texture_of(one, GRID.mm_per_px), texture_of(other, GRID.mm_per_px), usable, GRID.mm_per_px)


def test_texture_is_what_two_blurs_differ_by() -> None:
    view = coarse(1)
    # A pixel is half a millimetre: 1 mm is 2 px, 8 mm are 16 px.
    fine, wide = (cv2.GaussianBlur(view, (0, 0), width) for width in (2.0, 16.0))
    expected = (fine - wide)[::EVERY, ::EVERY]
    inner = np.s_[8:-8, 8:-8]
    off = texture_of(view, GRID.mm_per_px).band[inner] - expected[inner]
    assert np.abs(off).max() < 0.03 * float(expected.std())


def test_one_floor_is_like_itself_and_unlike_another() -> None:
    same = likeness_of(coarse(1), coarse(1) + np.float32(0.2), ALL)
    other = likeness_of(coarse(1), coarse(2), ALL)
    assert same is not None
    assert other is not None
    assert same > 0.95
    assert abs(other) < 0.2


def test_a_floor_half_full_of_debris_is_still_like_itself() -> None:
    full = coarse(1)
    grains = pattern(7, scale_px=4.0)[16:-16, 16:-16] > 0.05
    full[grains] += 1.0
    assert 0.2 < grains.mean() < 0.4
    likeness = likeness_of(coarse(1), full, ALL)
    assert likeness is not None
    assert likeness > 0.15


def test_a_plain_floor_has_no_likeness() -> None:
    nothing = np.zeros_like(pattern(1))
    assert likeness_of(cut(nothing, seed=1), cut(nothing, seed=2), ALL) is None


def test_too_small_a_floor_has_no_likeness() -> None:
    usable = np.zeros(SHAPE, bool)
    usable[:60, :60] = True
    assert likeness_of(coarse(1), coarse(1), usable) is None
