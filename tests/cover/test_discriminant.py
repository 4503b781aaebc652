from typing import TYPE_CHECKING

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from debriscount.cover.discriminant import SHADE, SHEEN, cover_of, departure, fisher_discriminant
from debriscount.cover.noise import FloorNoise

if TYPE_CHECKING:
    from tests.cover.conftest import Painter

SHAPE = (4, 5)
OAK = (0.30, 0.20, 0.11)
LENTIL = (0.35, 0.06, 0.02)


def plain(colour: tuple[float, float, float], shape: tuple[int, int] = SHAPE) -> NDArray[np.float32]:
    return np.broadcast_to(np.array(colour, np.float32), (*shape, 3)).copy()


def noise_of(sigma: float | tuple[float, float, float] = 0.004, shape: tuple[int, int] = SHAPE) -> FloorNoise:
    return FloorNoise(np.broadcast_to(np.array(sigma, np.float32), (*shape, 3)).copy(), np.eye(3))


NO_SPREAD = np.zeros((3, 3))
colours = st.tuples(*[st.floats(0.02, 0.9)] * 3)


@given(colours, colours, st.floats(0, 1))
def test_cover_is_the_share_of_the_way_from_floor_to_debris(
    floor: tuple[float, float, float], debris: tuple[float, float, float], share: float
) -> None:
    """0 on floor, 1 on debris and c at a pixel of which debris hides c, whatever the colours."""
    if np.abs(np.subtract(floor, debris)).max() < 0.02:
        return
    a, b = plain(floor), plain(debris)
    found = fisher_discriminant(a, b, noise_of(), NO_SPREAD, SHADE)
    np.testing.assert_allclose(cover_of(found, a, a), 0, atol=1e-7)
    np.testing.assert_allclose(cover_of(found, b, a), 1, atol=1e-3)
    np.testing.assert_allclose(cover_of(found, (1 - share) * a + share * b, a), share, atol=1e-3)


def test_cover_is_not_clipped() -> None:
    a, b = plain(OAK), plain(LENTIL)
    found = fisher_discriminant(a, b, noise_of(), NO_SPREAD, SHADE)
    np.testing.assert_allclose(cover_of(found, 1.5 * b - 0.5 * a, a), 1.5, atol=1e-4)
    np.testing.assert_allclose(cover_of(found, 1.25 * a - 0.25 * b, a), -0.25, atol=1e-4)


@pytest.mark.parametrize("light", [0.9, 0.7, 0.5, 0.35])
def test_shaded_floor_is_floor_where_the_hue_differs(light: float) -> None:
    """A red lentil on oak: shade that takes up to two thirds of the light is no debris."""
    a, b = plain(OAK), plain(LENTIL)
    found = fisher_discriminant(a, b, noise_of(), NO_SPREAD, SHADE)
    assert np.abs(cover_of(found, a * np.float32(light), a)).max() < 0.05
    # Were shade not allowed for, half the light would be a good part of a grain.
    naive = fisher_discriminant(a, b, noise_of(), NO_SPREAD, 1e-6, 1e-6)
    assert cover_of(naive, a * np.float32(0.5), a).max() > 0.15


def test_where_only_lightness_differs_lightness_decides() -> None:
    """Black grains on grey floor: half the light is half a grain, for nothing else is left to judge by."""
    a, b = plain((0.4, 0.4, 0.4)), plain((0.0, 0.0, 0.0))
    found = fisher_discriminant(a, b, noise_of(), NO_SPREAD, SHADE)
    np.testing.assert_allclose(cover_of(found, a * np.float32(0.5), a), 0.5, atol=1e-3)


def test_light_debris_is_found_by_lightness_though_shade_is_allowed_for() -> None:
    """White rice on brown floor: shade makes its cover negative, so brightness may tell the two apart."""
    a, b = plain(OAK), plain((0.7, 0.62, 0.5))
    found = fisher_discriminant(a, b, noise_of(), NO_SPREAD, SHADE)
    assert (cover_of(found, a * np.float32(0.5), a) < 0.02).all()


def test_a_noisy_channel_hardly_counts() -> None:
    a, b = plain((0.2, 0.2, 0.2)), plain((0.4, 0.4, 0.4))
    found = fisher_discriminant(a, b, noise_of((0.001, 0.1, 0.001)), NO_SPREAD, 1e-6, 1e-6)
    green = a.copy()
    green[..., 1] = 0.4
    assert np.abs(cover_of(found, green, a)).max() < 0.05


def test_sigma_is_the_spread_of_cover_on_bare_floor() -> None:
    shape = (300, 400)
    rng = np.random.default_rng(1)
    a, b = plain(OAK, shape), plain(LENTIL, shape)
    sigma = (0.003, 0.006, 0.012)
    found = fisher_discriminant(a, b, noise_of(sigma, shape), NO_SPREAD, SHADE)
    view = a + (np.array(sigma) * rng.standard_normal(a.shape)).astype(np.float32)
    assert cover_of(found, view, a).std() == pytest.approx(float(found.sigma.mean()), rel=0.01)


def test_debris_like_the_floor_gives_numbers_all_the_same() -> None:
    a = plain(OAK)
    found = fisher_discriminant(a, a, noise_of(), NO_SPREAD, SHADE)
    assert np.isfinite(cover_of(found, a * np.float32(0.7), a)).all()


def test_the_filter_is_fishers() -> None:
    """Against numpy's general solution of S^-1 e / (e' S^-1 e) at a pixel, the noise alone being in S."""
    a, b = plain((0.30, 0.25, 0.20)), plain((0.05, 0.04, 0.30))
    mix = np.array([[1.2, 0.3, 0.1], [0.3, 0.9, -0.2], [0.1, -0.2, 0.9]])
    sigma = np.array([0.05, 0.08, 0.1])
    noise = FloorNoise(np.broadcast_to(sigma.astype(np.float32), (*SHAPE, 3)).copy(), mix)
    found = fisher_discriminant(a, b, noise, NO_SPREAD, 1e-6, 1e-6)
    e = b[0, 0].astype(float) - a[0, 0]
    solved = np.linalg.solve(np.outer(sigma, sigma) * mix, e)
    # What else the library puts into S (a few per cent of the colours, squared) is small beside this noise.
    np.testing.assert_allclose(found.filter[0, 0], solved / (solved @ e), rtol=0.05)


def test_departure_counts_standard_deviations() -> None:
    # By hand: 3 sigma in one channel and 4 in another, nothing along the floor's own colour: 5.
    a = plain((0.2, 0.2, 0.2))
    view = a + np.array([0.03, -0.03, 0.0], np.float32)
    np.testing.assert_allclose(departure(view, a, noise_of(0.01), SHADE), np.sqrt(18), rtol=1e-4)


def test_shade_is_no_departure_but_as_much_light_more_is() -> None:
    a = plain(OAK)
    darker = departure(a * np.float32(0.7), a, noise_of(0.01), SHADE)
    lighter = departure(a * np.float32(1.3), a, noise_of(0.01), SHADE)
    # By hand: along the floor's own colour, of length |f|, the share s has the variance s^2 + (0.01 / |f|)^2.
    own = 0.01**2 / np.sum(np.square(OAK))
    np.testing.assert_allclose(darker, 0.3 / np.sqrt(SHADE**2 + own), rtol=1e-3)  # 1.6
    np.testing.assert_allclose(lighter, 0.3 / np.sqrt(SHEEN**2 + own), rtol=1e-3)  # 7.7


def test_departure_knows_the_mix() -> None:
    """Noise that two channels share does not depart when both move alike, and does when they part."""
    mix = np.array([[1.0, 0.9, 0.0], [0.9, 1.0, 0.0], [0.0, 0.0, 1.0]])
    a = plain((0.2, 0.2, 0.2))
    noise = FloorNoise(np.full((*SHAPE, 3), 0.01, np.float32), mix)
    parted = departure(a + np.array([0.01, -0.01, 0], np.float32), a, noise, SHADE)
    # By hand: (1, -1) in [[1, .9], [.9, 1]] has variance 0.1 along it: sqrt(2 / 0.1) = 4.47.
    np.testing.assert_allclose(parted, np.sqrt(20), rtol=1e-3)


def test_cover_is_found_back_under_noise(painter: "Painter") -> None:
    strewn = painter.scatter(1, 40, 9.0)
    floor = painter.grained(2)
    view = painter.photographed(floor, strewn.cover, seed=3)
    debris = np.broadcast_to(painter.lentil, view.shape).astype(np.float32)
    found = fisher_discriminant(floor, debris, noise_of(0.004, painter.shape), NO_SPREAD, SHADE)
    cover = cover_of(found, view, floor)
    assert cover.sum() == pytest.approx(strewn.cover.sum(), rel=0.01)
    assert cover[strewn.cover == 0].std() < 0.1


def test_debris_of_the_floors_own_colour_has_a_finite_filter_that_tells_nothing() -> None:
    floor = np.full((4, 4, 3), 0.2, np.float32)
    noise = FloorNoise(np.full((4, 4, 3), 1e-4, np.float32), np.eye(3))
    for step in (0.0, 1e-12, 1e-9, 1e-7):
        told = fisher_discriminant(floor, floor + np.float32(step), noise, np.zeros((3, 3)), 0.2)
        assert np.isfinite(told.filter).all()
        assert np.isfinite(told.sigma).all()
