import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from debriscount.photo.colour import (
    linear_pixels,
    linear_to_lab,
    linear_to_srgb,
    luminance,
    srgb_pixels,
    srgb_to_linear,
)

EVERY_LEVEL = np.arange(256, dtype=np.uint8)


@given(st.floats(0, 1))
def test_encoding_undoes_decoding(value: float) -> None:
    assert linear_to_srgb(srgb_to_linear(np.array([value])))[0] == pytest.approx(value, abs=1e-7)


@given(st.floats(0, 1), st.floats(0, 1))
def test_more_light_is_never_a_smaller_value(a: float, b: float) -> None:
    # The knee's two branches differ by 2e-9 where they meet.
    low, high = srgb_to_linear(np.array(sorted((a, b))))
    assert low <= high + 1e-8


def test_the_straight_part_near_black_goes_on_below_zero() -> None:
    assert srgb_to_linear(np.array([-0.02])) == pytest.approx([-0.02 / 12.92])


def test_what_lies_beyond_black_and_white_is_clipped_when_encoded() -> None:
    np.testing.assert_allclose(linear_to_srgb(np.array([-0.3, 0.0, 1.0, 7.0])), [0, 0, 1, 1], atol=1e-12)


def test_the_table_says_what_the_formula_says() -> None:
    pixels = EVERY_LEVEL.reshape(8, 32)
    light = linear_pixels(pixels)
    assert light.dtype == np.float32
    np.testing.assert_allclose(light, srgb_to_linear(pixels / 255), rtol=1e-6)


def test_three_channels_are_decoded_alike() -> None:
    pixels = np.stack([EVERY_LEVEL, EVERY_LEVEL[::-1], np.roll(EVERY_LEVEL, 7)], axis=-1)[None]
    np.testing.assert_allclose(linear_pixels(pixels), srgb_to_linear(pixels / 255), rtol=1e-6)


def test_pixels_survive_the_way_to_light_and_back() -> None:
    pixels = np.stack([EVERY_LEVEL, EVERY_LEVEL[::-1], np.roll(EVERY_LEVEL, 7)], axis=-1)[None]
    np.testing.assert_array_equal(srgb_pixels(linear_pixels(pixels)), pixels)


def test_light_is_encoded_to_the_nearest_level_and_clipped() -> None:
    # By hand: 188 decodes to 0.502886 and 187 to 0.496933; 0.4998 lies short of half way, 0.5001 beyond it.
    light = np.array([[-1, 0, 0.4998, 0.5001, 1, 3]], np.float32)
    assert srgb_pixels(light).tolist() == [[0, 0, 187, 188, 255, 255]]


def test_luminance_weighs_the_channels_and_white_is_one() -> None:
    colours = np.array([[1, 0, 0], [0, 1, 0], [0, 0, 1], [1, 1, 1], [0.5, 0.25, 1]], np.float32)
    # By hand: 0.5 * 0.2126 + 0.25 * 0.7152 + 0.0722 = 0.3573.
    np.testing.assert_allclose(luminance(colours), [0.2126, 0.7152, 0.0722, 1, 0.3573], rtol=1e-6)
    assert luminance(colours).dtype == np.float32


def test_greys_have_no_colour_and_white_has_lightness_100() -> None:
    light = np.linspace(0, 1, 11)[:, None] * np.ones(3)
    lab = linear_to_lab(light)
    np.testing.assert_allclose(lab[:, 1:], 0, atol=0.01)
    assert lab[-1, 0] == pytest.approx(100, abs=0.01)
    assert (np.diff(lab[:, 0]) > 0).all()
