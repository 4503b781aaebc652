"""Shades on a painted floor: light of discs and of what they throw, worked out by hand."""

from typing import TYPE_CHECKING

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from debriscount.cover.kinds import KindHint
from debriscount.grains.shade import Shades, unclaimed_shades

if TYPE_CHECKING:
    from tests.grains.conftest import Painter

RADIUS_PX = 6.0
KIND = KindHint(np.full(3, 0.5), (11.0, 13.0))
#: Where a grain's shade lies, from its middle: right and down, a radius and a half away.
THROWN = np.array([7.0, 6.0])
#: Share of the floor's light that a shade takes.
DEPTH = 0.5
SEEN = np.array([[60.0 + 70 * (k % 5), 50.0 + 60 * (k // 5)] for k in range(20)])
#: Far from all of those, and from where they throw shade.
ALONE = np.array([[95.0, 140.0], [300.0, 80.0]])


def light_of(
    painter: "Painter", grains: NDArray[np.float64], shades: NDArray[np.float64], depth: float = DEPTH
) -> tuple[NDArray[np.float32], NDArray[np.bool_]]:
    """Light and debris of grains that are seen and shades of given middles, with a fiftieth of noise."""
    debris = painter.discs(grains, RADIUS_PX) > 0.5
    light = -depth * painter.discs(shades, RADIUS_PX)
    light[debris] = 0.3
    noisy = cv2.GaussianBlur(light, (0, 0), 0.7) + 0.02 * np.random.default_rng(1).standard_normal(painter.shape)
    return np.asarray(noisy, np.float32), debris


def look(light: NDArray[np.float32], debris: NDArray[np.bool_], grains: NDArray[np.float64] = SEEN) -> Shades:
    return unclaimed_shades(light, debris, grains[:, 0], grains[:, 1], KIND)


def test_shades_that_no_grain_throws_are_found_where_they_lie(painter: "Painter") -> None:
    shades = look(*light_of(painter, SEEN, np.concatenate([SEEN + THROWN, ALONE])))
    order = np.argsort(shades.x_px)
    np.testing.assert_allclose(np.stack([shades.x_px, shades.y_px], axis=-1)[order], ALONE, atol=0.5)
    assert (shades.labels > 0).sum() == pytest.approx(len(ALONE) * np.pi * RADIUS_PX**2, rel=0.1)
    for x, y in ALONE.astype(int):
        assert (shades.labels > 0)[y, x]


@pytest.mark.parametrize("thrown", [THROWN, -THROWN, np.array([9.0, 0.0]), np.array([0.0, 0.0])])
def test_shades_of_grains_that_were_found_are_theirs_wherever_the_lamp_is(
    painter: "Painter", thrown: NDArray[np.float64]
) -> None:
    assert len(look(*light_of(painter, SEEN, SEEN + thrown)).x_px) == 0


def test_a_shade_on_the_lamps_side_of_a_grain_is_not_the_grains(painter: "Painter") -> None:
    """It lies as far from a grain as shades do, but to the side where none falls."""
    lit_side = SEEN[6] - 2.0 * THROWN
    shades = look(*light_of(painter, SEEN, np.concatenate([SEEN + THROWN, lit_side[None]])))
    np.testing.assert_allclose([[*shades.x_px], [*shades.y_px]], lit_side[:, None], atol=0.5)


def test_the_soft_shadow_of_a_person_is_none(painter: "Painter") -> None:
    """As deep as a grain's, but 80 px wide."""
    light, debris = light_of(painter, SEEN, SEEN + THROWN)
    person = cv2.GaussianBlur(painter.discs(np.array([[200.0, 150.0]]), 40.0), (0, 0), 10.0)
    assert len(look(light - np.float32(DEPTH) * person, debris).x_px) == 0


@pytest.mark.parametrize("radius_px", [1.5, 2.5])
def test_a_dark_speck_is_none(painter: "Painter", radius_px: float) -> None:
    light, debris = light_of(painter, SEEN, SEEN + THROWN)
    assert len(look(light - np.float32(DEPTH) * painter.discs(ALONE, radius_px), debris).x_px) == 0


def test_what_darkens_less_than_half_as_much_is_none(painter: "Painter") -> None:
    light, debris = light_of(painter, SEEN, SEEN + THROWN)
    faint = np.float32(0.4 * DEPTH) * painter.discs(ALONE, RADIUS_PX)
    assert len(look(light - faint, debris).x_px) == 0


def test_where_grains_throw_no_shade_nothing_is_sought(painter: "Painter") -> None:
    """Under a broad lamp: then a dark blot is the floor's own."""
    assert len(look(*light_of(painter, SEEN, ALONE)).x_px) == 0


def test_shade_that_does_not_stand_out_of_the_noise_is_not_sought(painter: "Painter") -> None:
    light, debris = light_of(painter, SEEN, np.concatenate([SEEN + THROWN, ALONE]), depth=0.01)
    assert len(look(light, debris).x_px) == 0


def test_floor_that_is_not_shown_has_no_shade(painter: "Painter") -> None:
    light, debris = light_of(painter, SEEN, np.concatenate([SEEN + THROWN, ALONE]))
    light[:, 250:] = 0
    seen = SEEN[SEEN[:, 0] < 240]
    shades = look(light, debris & (np.arange(painter.shape[1]) < 250), seen)
    assert shades.x_px == pytest.approx([ALONE[0, 0]], abs=0.5)


def test_grains_at_the_border_alone_tell_nothing(painter: "Painter") -> None:
    corner = np.array([[12.0, 12.0]])
    light, debris = light_of(painter, corner, np.concatenate([corner + THROWN, ALONE]))
    shades = look(light, debris, corner)
    assert len(shades.x_px) == 0
    assert shades.labels.shape == painter.shape
    assert not shades.labels.any()


def test_a_mirrored_picture_has_mirrored_shades(painter: "Painter") -> None:
    light, debris = light_of(painter, SEEN, np.concatenate([SEEN + THROWN, ALONE]))
    width = painter.shape[1]
    turned = SEEN * [-1, 1] + [width - 1, 0]
    plain = look(light, debris)
    mirrored = look(np.ascontiguousarray(light[:, ::-1]), np.ascontiguousarray(debris[:, ::-1]), turned)
    assert sorted(width - 1 - mirrored.x_px) == pytest.approx(sorted(plain.x_px), abs=0.1)
