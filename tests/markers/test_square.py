"""Squares fitted to pictures of OpenCV's own drawing of a marker."""

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from debriscount.markers.edges import LightCrop
from debriscount.markers.modules import black_behind
from debriscount.markers.square import fit_square, side_px, spread_px

FINER = 6
#: From 10 to 90 % of a normal distribution (*published*, tables of the normal integral).
TEN_TO_NINETY = 2.5631
QUAD = np.array([[61.3, 48.7], [157.9, 55.2], [150.6, 152.8], [54.1, 145.4]])


def printed(
    quad: NDArray[np.float64], sigma_px: float, noise: float = 0.0, number: int = 7, size: int = 210
) -> NDArray[np.float64]:
    """Linear light of a marker with its corners at ``quad``, blurred and averaged over pixels."""
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    modules = np.pad(cv2.aruco.generateImageMarker(dictionary, number, 6), 1, constant_values=255)
    cells = 128
    sheet = np.kron(np.where(modules > 127, 0.8, 0.03), np.ones((cells, cells))).astype(np.float32)
    low, high = cells - 0.5, 7 * cells - 0.5
    source = np.array([[low, low], [high, low], [high, high], [low, high]], np.float32)
    to_photo = cv2.getPerspectiveTransform(source, ((quad + 0.5) * FINER - 0.5).astype(np.float32))
    fine = cv2.warpPerspective(sheet, to_photo, (size * FINER, size * FINER), borderValue=(0.8, 0, 0, 0))
    fine = cv2.GaussianBlur(fine, (0, 0), sigma_px * FINER)
    light = cv2.resize(fine, (size, size), interpolation=cv2.INTER_AREA)
    return np.asarray(light + noise * np.random.default_rng(0).standard_normal(light.shape), float)


def crop_of(light: NDArray[np.float64]) -> LightCrop:
    grey = light.astype(np.float32)
    return LightCrop(grey, np.repeat(grey[..., None], 3, axis=2), (0, 0))


@pytest.mark.parametrize("sigma_px", [0.5, 1.0, 2.0, 3.0])
def test_corners_and_spread_of_a_blurred_print(sigma_px: float) -> None:
    """The width is the closed form's within a twentieth, as in test_edges, though code lies behind half of the border."""
    crop = crop_of(printed(QUAD, sigma_px, noise=0.005))
    square = fit_square(crop, QUAD + np.array([[2, 1], [-1, 2], [1, -2], [-2, -1]]), 2.0)
    assert square is not None
    np.testing.assert_allclose(square.corners_px, QUAD, atol=0.15)
    assert 0.05 <= square.sigma_px < 0.15
    assert square.paper == pytest.approx(0.8, abs=0.03)
    assert square.ink == pytest.approx(0.03, abs=0.03)
    width = spread_px(crop, square, black_behind(7, 0))
    assert width == pytest.approx(TEN_TO_NINETY * np.sqrt(sigma_px**2 + 1 / 12), rel=0.05)


def test_a_hidden_corner_is_where_its_sides_meet() -> None:
    light = printed(QUAD, 1.0)
    light[30:90, 120:] = 0.25
    square = fit_square(crop_of(light), QUAD, 2.0)
    assert square is not None
    np.testing.assert_allclose(square.corners_px, QUAD, atol=0.15)
    # Two sides are seen over a little more than half.
    assert sorted(edge.seen for edge in square.edges)[1] < 0.75


def test_a_square_with_a_hidden_side_is_none() -> None:
    light = printed(QUAD, 1.0)
    light[:, 130:] = 0.25
    assert fit_square(crop_of(light), QUAD, 2.0) is None


def test_a_side_seen_on_a_fifth_of_it_is_not_enough() -> None:
    light = printed(QUAD, 1.0)
    light[80:165, 130:] = 0.25
    assert fit_square(crop_of(light), QUAD, 2.0) is None


def test_a_start_that_is_far_off_is_no_square() -> None:
    assert fit_square(crop_of(printed(QUAD, 1.0)), QUAD + 40, 2.0) is None


def test_the_spread_of_modules_as_narrow_as_blur_is_not_told() -> None:
    small = 100 + (QUAD - 100) * 0.22
    crop = crop_of(printed(small, 1.6))
    square = fit_square(crop, small, 1.0)
    assert square is not None
    # By hand: modules of 97 x 0.22 / 6 = 3.5 px, edges of 4.2 px.
    assert spread_px(crop, square, black_behind(7, 0)) is None


def test_the_mean_side_by_hand() -> None:
    # By hand: sides of 3, 4, 3 and 4.
    assert side_px(np.array([[0.0, 0.0], [3.0, 0.0], [3.0, 4.0], [0.0, 4.0]])) == 3.5
