from typing import TYPE_CHECKING

import numpy as np
import pytest
from numpy.typing import NDArray

from debriscount.cover.light import stiff_gain, supple_gain

if TYPE_CHECKING:
    from tests.cover.conftest import Painter


def quadratic_light(shape: tuple[int, int]) -> NDArray[np.float32]:
    """Exposure that varies by a factor of two over the view, another one for each channel; log quadratic."""
    v, u = np.mgrid[-1 : 1 : shape[0] * 1j, -1 : 1 : shape[1] * 1j]
    logs = [
        0.10 + 0.20 * u - 0.10 * v - 0.15 * u * u,
        -0.05 + 0.15 * u * v - 0.12 * v * v,
        0.20 - 0.25 * v + 0.05 * u * u,
    ]
    return np.asarray(np.exp(np.stack(logs, axis=-1)), np.float32)


def test_a_quadratic_exposure_is_undone_while_debris_covers_a_fifth(painter: "Painter") -> None:
    floor = painter.grained(1)
    strewn = painter.scatter(2, 150, 8.6)
    assert 0.18 < strewn.cover.mean() < 0.22
    light = quadratic_light(painter.shape)
    view = painter.photographed(floor, strewn.cover, light, seed=3)
    reference = painter.photographed(floor, np.zeros(painter.shape, np.float32), seed=4)
    gain = stiff_gain(view, reference, np.ones(painter.shape, bool))
    off = np.abs(gain * light - 1).max(axis=(0, 1))
    # Debris on a fifth of a square moves its median to the 62nd percentile of the bare floor's noise, 0.3
    # standard deviations: for this blue, whose noise is 5 % of the light, 1.6 %; for red and green less.
    assert off[0] < 0.013
    assert off[1] < 0.013
    assert off[2] < 0.02


def test_each_channel_has_a_light_of_its_own(painter: "Painter") -> None:
    floor = painter.grained(1)
    tinted = floor * np.array([1.1, 1.0, 0.8], np.float32)
    gain = stiff_gain(tinted, floor, np.ones(painter.shape, bool))
    np.testing.assert_allclose(gain, np.broadcast_to([1 / 1.1, 1.0, 1 / 0.8], gain.shape), rtol=1e-4)


def test_a_heap_of_debris_in_a_corner_does_not_pull(painter: "Painter") -> None:
    floor = painter.grained(1)
    view = floor.copy()
    view[:120, :150] = painter.lentil
    gain = stiff_gain(view, floor, np.ones(painter.shape, bool))
    np.testing.assert_allclose(gain, 1, atol=0.003)


@pytest.mark.parametrize("debris", [0.02, 0.9], ids=["dark", "light"])
def test_few_huge_discs_on_a_quarter_of_the_view_do_not_pull(painter: "Painter", debris: float) -> None:
    """Three coins seen from near: squares full of them are a quarter of all, and lie together."""
    floor = painter.grained(1)
    radius, rows, columns = 70.0, painter.shape[0], painter.shape[1]
    y, x = np.mgrid[0:rows, 0:columns]
    coins = [np.hypot(x - c, y - r) < radius for c, r in ((90, 90), (240, 110), (120, 290))]
    covered = np.logical_or.reduce(coins)
    assert 0.23 < covered.mean() < 0.27
    view = np.where(covered[..., None], np.float32(debris), floor * quadratic_light(painter.shape))
    gain = stiff_gain(view, floor, np.ones(painter.shape, bool))
    np.testing.assert_allclose(gain * quadratic_light(painter.shape), 1, atol=0.02)


def test_nothing_usable_leaves_the_light_alone(painter: "Painter") -> None:
    floor = painter.grained(1)
    np.testing.assert_allclose(stiff_gain(floor * np.float32(0.5), floor, np.zeros(painter.shape, bool)), 1)


def test_what_is_not_usable_does_not_count(painter: "Painter") -> None:
    """Half of the view is a white sheet of paper that only one shot shows."""
    floor = painter.grained(1)
    view = floor * np.float32(0.7)
    usable = np.ones(painter.shape, bool)
    view[:, 256:] = 0.9
    usable[:, 256:] = False
    gain = stiff_gain(view, floor, usable)
    np.testing.assert_allclose(gain[:, :256], 1 / 0.7, rtol=0.002)


def test_black_pixels_give_no_infinities(painter: "Painter") -> None:
    floor = painter.grained(1)
    view = floor.copy()
    view[::3, ::3] = 0
    assert np.isfinite(stiff_gain(view, floor, np.ones(painter.shape, bool))).all()


@pytest.mark.parametrize(("depth", "left_over"), [(0.1, 0.015), (0.3, 0.03), (0.6, 0.06)])
def test_a_soft_shadow_is_followed(painter: "Painter", depth: float, left_over: float) -> None:
    """The shade of a person: an edge 90 px wide across the view, which no quadratic can follow."""
    floor = painter.grained(1)
    across = np.broadcast_to(np.arange(painter.shape[1]), painter.shape)
    shade = (1 - depth / (1 + np.exp((across - 200) / 30)))[..., None].astype(np.float32)
    everywhere = np.ones(painter.shape, bool)
    view = painter.photographed(floor, np.zeros(painter.shape, np.float32), shade, seed=5)
    left = view * supple_gain(view, floor, everywhere, 24.0) / floor
    assert np.abs(np.median(left, axis=0) - 1).max() < left_over
    stiff = view * stiff_gain(view, floor, everywhere) / floor
    # The comparison is only worth something where the stiff surface fails.
    assert np.abs(np.median(stiff, axis=0) - 1).max() > 1.2 * left_over


def test_debris_is_not_taken_for_light(painter: "Painter") -> None:
    floor = painter.grained(1)
    strewn = painter.scatter(2, 150, 8.6)
    view = painter.photographed(floor, strewn.cover, seed=3)
    gain = supple_gain(view, floor, strewn.cover == 0, 24.0)
    np.testing.assert_allclose(gain, 1, atol=0.02)


def test_where_nothing_is_bare_the_light_is_left_alone(painter: "Painter") -> None:
    floor = painter.grained(1)
    bare = np.zeros(painter.shape, bool)
    bare[:, :60] = True
    gain = supple_gain(floor * np.float32(0.5), floor, bare, 16.0)
    np.testing.assert_allclose(gain[:, :40], 2, rtol=0.05)
    np.testing.assert_allclose(gain[:, 240:], 1, rtol=0.01)
    assert np.isfinite(gain).all()
