from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from debriscount.cover.colours import (
    APART,
    ApartPixels,
    LearnedColour,
    apart_pixels,
    core_pixels,
    join_pixels,
    learn_colours,
)
from debriscount.cover.kinds import BLUR_PX, KindHint

SHAPE = (200, 300)
OAK = np.array([0.30, 0.20, 0.11])
LENTIL = np.array([0.35, 0.06, 0.02])
RICE = np.array([0.62, 0.55, 0.42])
FLOOR = np.tile(OAK, (500, 1)).astype(np.float32)


def kinds_of(*colours: NDArray[np.float64], peak: float = 1.0) -> list[KindHint]:
    """Kinds whose middling grains reach a cover of ``peak`` after blur."""
    diameter = 20.0 if peak == 1 else 2 * BLUR_PX * np.sqrt(-2 * np.log(1 - peak))
    return [KindHint(colour, (diameter, diameter)) for colour in colours]


def pixels_of(
    colour: NDArray[np.float64], count: int, seed: int, spread: float = 0.05, slope: float = 0.0
) -> ApartPixels:
    """Pixels of one kind: brightness varies from grain to grain, and by ``slope`` over the view's width."""
    rng = np.random.default_rng(seed)
    x, y = rng.uniform(0, SHAPE[1], count), rng.uniform(0, SHAPE[0], count)
    light = np.exp(spread * rng.standard_normal(count) + slope * (x / SHAPE[1] - 0.5))
    return ApartPixels((light[:, None] * colour).astype(np.float32), np.tile(OAK, (count, 1)).astype(np.float32), x, y)


def test_dust_of_another_colour_does_not_move_a_kind() -> None:
    dust = pixels_of(np.array([0.02, 0.02, 0.25]), 150, 2)
    (learned,) = learn_colours(join_pixels([pixels_of(LENTIL, 3000, 1), dust]), kinds_of(0.7 * LENTIL), SHAPE, FLOOR)
    np.testing.assert_allclose(learned.mean, LENTIL, rtol=0.02)
    assert learned.samples == 3000


def test_two_kinds_go_to_their_hints_though_the_light_has_another_colour() -> None:
    """The photo is 30 % darker and bluer than the daylight of the debris files."""
    photo_light = np.array([0.65, 0.70, 0.80])
    pixels = join_pixels([pixels_of(RICE * photo_light, 1000, 1), pixels_of(LENTIL * photo_light, 2000, 2)])
    rice, lentil = learn_colours(pixels, kinds_of(RICE, LENTIL), SHAPE, FLOOR)
    np.testing.assert_allclose(rice.mean, RICE * photo_light, rtol=0.03)
    np.testing.assert_allclose(lentil.mean, LENTIL * photo_light, rtol=0.03)
    assert rice.samples == 1000
    assert lentil.samples == 2000


def test_pale_debris_is_not_learned_from_its_shadow() -> None:
    """Rice on pale grey, of which a file says that it is a little paler: shade over it is as grey as the floor."""
    floor = np.array([0.55, 0.53, 0.50])
    shade = ApartPixels(
        np.tile(0.8 * floor, (800, 1)).astype(np.float32),
        np.tile(floor, (800, 1)).astype(np.float32),
        np.linspace(0, 299, 800),
        np.linspace(0, 199, 800),
    )
    (learned,) = learn_colours(shade, kinds_of(RICE), SHAPE, np.tile(floor, (500, 1)).astype(np.float32))
    assert learned.samples == 0


def test_pale_debris_darker_than_the_floor_is_learned_where_its_hue_tells() -> None:
    """Peas hinted paler than they are in the photo: green on grey all the same."""
    floor, pea = np.array([0.40, 0.40, 0.40]), np.array([0.275, 0.34, 0.085])
    pixels = replace(pixels_of(pea, 800, 4), floor=np.tile(floor, (800, 1)).astype(np.float32))
    (learned,) = learn_colours(pixels, kinds_of(2 * pea), SHAPE, np.tile(floor, (500, 1)).astype(np.float32))
    np.testing.assert_allclose(learned.mean, pea, rtol=0.03)


def test_the_order_of_the_hints_is_kept() -> None:
    pixels = join_pixels([pixels_of(RICE, 1000, 1), pixels_of(LENTIL, 2000, 2)])
    lentil, rice = learn_colours(pixels, kinds_of(LENTIL, RICE), SHAPE, FLOOR)
    assert lentil.mean[0] / lentil.mean[1] > 3 > rice.mean[0] / rice.mean[1]


def test_a_kind_of_which_nothing_is_seen_keeps_its_hint() -> None:
    lentil, blue = learn_colours(pixels_of(LENTIL, 1000, 1), kinds_of(LENTIL, np.array([0.05, 0.1, 0.6])), SHAPE, FLOOR)
    assert lentil.samples == 1000
    assert blue.samples == 0
    np.testing.assert_array_equal(blue.mean, [0.05, 0.1, 0.6])


def test_a_picture_with_nothing_in_it_keeps_all_hints() -> None:
    nothing = ApartPixels(np.zeros((0, 3), np.float32), np.zeros((0, 3), np.float32), np.zeros(0), np.zeros(0))
    learned = learn_colours(nothing, kinds_of(LENTIL, RICE), SHAPE, FLOOR)
    assert [c.samples for c in learned] == [0, 0]
    np.testing.assert_array_equal(learned[1].mean, RICE)


def test_a_light_that_falls_off_over_the_view_is_followed() -> None:
    (learned,) = learn_colours(pixels_of(LENTIL, 4000, 1, slope=0.6), kinds_of(LENTIL), SHAPE, FLOOR)
    # The ridge that keeps heaps from being read as slopes costs a ninth of it (0.01 beside a variance of 1/12).
    assert learned.slope[0] * SHAPE[1] == pytest.approx(0.6 * (1 / 12) / (1 / 12 + 0.01), abs=0.02)
    assert learned.slope[1] * SHAPE[0] == pytest.approx(0.0, abs=0.02)
    over = learned.over(SHAPE)
    assert over.shape == (*SHAPE, 3)
    np.testing.assert_allclose(over[100, 290] / over[100, 10], np.exp(0.6 * 280 / 300), rtol=0.08)
    np.testing.assert_allclose(over[100, 150], LENTIL, rtol=0.02)


def test_the_spread_from_grain_to_grain_is_learned() -> None:
    """Red, green and blue vary by 10 % each; a tenth of the pixels are highlights far off."""
    rng = np.random.default_rng(3)
    grains = pixels_of(RICE, 5000, 3, spread=0.0)
    colour = RICE * (1 + 0.1 * rng.standard_normal((5000, 3)))
    colour[::10] = 3.0
    pixels = ApartPixels(colour.astype(np.float32), grains.floor, grains.x, grains.y)
    (learned,) = learn_colours(pixels, kinds_of(RICE), SHAPE, FLOOR)
    np.testing.assert_allclose(np.sqrt(np.diag(learned.covariance)), 0.1 * RICE, rtol=0.1)
    off = learned.covariance / np.sqrt(np.outer(np.diag(learned.covariance), np.diag(learned.covariance)))
    np.testing.assert_allclose(off, np.eye(3), atol=0.1)


def test_grains_without_an_inside_are_led_on_to_full_cover() -> None:
    """Every pixel is six tenths debris; the colour behind is debris all the same."""
    mixed = pixels_of(0.6 * LENTIL + 0.4 * OAK, 2000, 4, spread=0.01)
    (learned,) = learn_colours(mixed, kinds_of(LENTIL, peak=0.6), SHAPE, FLOOR)
    np.testing.assert_allclose(learned.mean, LENTIL, atol=0.01)
    (as_seen,) = learn_colours(mixed, kinds_of(LENTIL), SHAPE, FLOOR)
    assert np.abs(as_seen.mean - LENTIL).max() > 0.05


def test_no_learned_colour_is_darker_than_black() -> None:
    mixed = pixels_of(0.2 * LENTIL + 0.8 * OAK, 2000, 4, spread=0.01)
    (learned,) = learn_colours(mixed, kinds_of(LENTIL, peak=0.1), SHAPE, FLOOR)
    assert (learned.mean >= 0).all()


def test_a_core_is_a_pixel_whose_neighbours_are_apart_too() -> None:
    departing = np.zeros((20, 30), np.float32)
    departing[5:10, 5:11] = APART + 1
    view = np.random.default_rng(1).random((20, 30, 3)).astype(np.float32)
    floor = np.zeros_like(view)
    found = apart_pixels(view, floor, departing, np.ones((20, 30), bool))
    # By hand: rows 6 to 8, columns 6 to 9 of the spot of 5 x 6.
    assert sorted(set(found.y.tolist())) == [6, 7, 8]
    assert sorted(set(found.x.tolist())) == [6, 7, 8, 9]
    assert len(found.x) == 12
    np.testing.assert_array_equal(found.colour[0], view[6, 6])


def test_specks_without_a_core_give_their_peaks() -> None:
    departing = np.zeros((20, 30), np.float32)
    departing[4, 4:6] = 5, 9
    departing[12, 20] = 7
    view = np.zeros((20, 30, 3), np.float32)
    found = apart_pixels(view, view, departing, np.ones((20, 30), bool))
    assert list(zip(found.y.tolist(), found.x.tolist(), strict=True)) == [(4, 5), (12, 20)]


def test_what_is_not_usable_is_not_collected() -> None:
    departing = np.full((20, 30), 9, np.float32)
    usable = np.zeros((20, 30), bool)
    usable[:, :10] = True
    view = np.zeros((20, 30, 3), np.float32)
    assert apart_pixels(view, view, departing, usable).x.max() == 8


def test_cores_of_known_grains_are_collected_though_they_hardly_stand_out() -> None:
    covered = np.zeros((20, 30), bool)
    covered[5:10, 5:11] = True
    view = np.random.default_rng(1).random((20, 30, 3)).astype(np.float32)
    found = core_pixels(view, np.zeros_like(view), covered)
    assert sorted(set(zip(found.y.tolist(), found.x.tolist(), strict=True))) == [
        (y, x) for y in (6, 7, 8) for x in (6, 7, 8, 9)
    ]


def test_over_is_even_without_a_slope() -> None:
    colour = LearnedColour(LENTIL, np.eye(3), (0.0, 0.0), 5)
    np.testing.assert_allclose(colour.over((3, 4)), np.broadcast_to(LENTIL, (3, 4, 3)), rtol=1e-6)
