"""Colour against IEC 61966-2-1 and CIE 15, and against scikit-image's own conversion."""

import numpy as np
import pytest
from skimage.color import rgb2xyz

from debriscount.photo.colour import linear_pixels, linear_to_lab, linear_to_srgb, luminance, srgb_to_linear


@pytest.mark.parametrize(
    ("level", "light"), [(128, 0.215861), (188, 0.502886), (10, 0.003035), (11, 0.003347), (0, 0), (255, 1)]
)
def test_srgb_transfer_curve(level: int, light: float) -> None:
    """*Published*: IEC 61966-2-1, values of its formula rounded to six decimals; 10 and 11 lie on either side of the knee."""
    assert srgb_to_linear(np.array([level / 255]))[0] == pytest.approx(light, abs=5e-7)
    assert linear_pixels(np.array([[level]], np.uint8))[0, 0] == pytest.approx(light, abs=5e-7)
    assert 255 * linear_to_srgb(np.array([light]))[0] == pytest.approx(level, abs=5e-3)


def test_the_knee_of_the_transfer_curve() -> None:
    """*Published*: 0.04045 and 0.0031308 meet, but for the jump of 2.3e-9 that the standard's rounding leaves."""
    below, above = srgb_to_linear(np.array([0.04045, np.nextafter(0.04045, 1)]))
    assert below == pytest.approx(0.0031308, abs=5e-8)
    assert above - below == pytest.approx(2.3e-9, abs=5e-11)


def test_luminance_is_the_y_of_scikit_image() -> None:
    """*Independent*: scikit-image 0.26, whose matrix has more digits than the standard's four."""
    colours = np.random.default_rng(1).random((100, 3))
    expected = rgb2xyz(colours)[:, 1]
    np.testing.assert_allclose(luminance(srgb_to_linear(colours)), expected, atol=1e-4)


@pytest.mark.parametrize(
    ("srgb", "lab"),
    [
        ((255, 0, 0), (53.24, 80.09, 67.20)),
        ((0, 255, 0), (87.74, -86.18, 83.18)),
        ((0, 0, 255), (32.30, 79.19, -107.86)),
        ((119, 119, 119), (50.034, 0, 0)),
        ((128, 128, 128), (53.585, 0, 0)),
        ((255, 255, 255), (100, 0, 0)),
    ],
)
def test_cielab_of_srgb_primaries_and_greys(srgb: tuple[int, int, int], lab: tuple[float, float, float]) -> None:
    """D65 white of IEC 61966-2-1, formulae of CIE 15; the matrix's fourth digit moves a* and b* by up to 0.02."""
    found = linear_to_lab(linear_pixels(np.array([[srgb]], np.uint8)))[0, 0]
    np.testing.assert_allclose(found, lab, atol=0.02)


def test_cielab_is_that_of_its_formulae() -> None:
    """*Published*: matrix of IEC 61966-2-1 (four decimals) and the formulae of CIE 15, written out here."""
    light = np.random.default_rng(2).random((50, 3))
    matrix = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])
    t = light @ matrix.T / matrix.sum(axis=1)
    f = np.where(t > (6 / 29) ** 3, np.cbrt(t), t / (3 * (6 / 29) ** 2) + 4 / 29)
    expected = np.stack([116 * f[:, 1] - 16, 500 * (f[:, 0] - f[:, 1]), 200 * (f[:, 1] - f[:, 2])], axis=-1)
    np.testing.assert_allclose(linear_to_lab(light), expected, atol=0.05)
