"""Which pixels are of which kind: mixtures made up by hand, truth known."""

import numpy as np
import pytest
from numpy.typing import NDArray

from debriscount.cover.membership import colour_places, like_debris, memberships

OAK = np.array([0.30, 0.20, 0.11])
GREY = np.array([0.25, 0.25, 0.25])
MILLET = np.array([0.60, 0.42, 0.12])
PEA = np.array([0.20, 0.27, 0.08])


def shaded(colour: NDArray[np.float64], count: int, seed: int, darkest: float = 0.7) -> NDArray[np.float64]:
    """Pixels of a colour in light that varies down to a share of ``darkest``."""
    rng = np.random.default_rng(seed)
    return colour * rng.uniform(darkest, 1, (count, 1)) + rng.normal(0, 0.003, (count, 3))


def members(
    pixels: NDArray[np.float64], below: NDArray[np.float64], *hints: NDArray[np.float64]
) -> NDArray[np.float64]:
    places = colour_places(pixels)
    floor = np.tile(below, (len(pixels), 1))
    everything = np.ones((len(pixels), len(hints)), bool)
    return memberships(
        [places] * len(hints),
        colour_places(floor),
        colour_places(np.array(hints)),
        colour_places(floor[:500]),
        everything,
    )


def test_shade_changes_the_third_coordinate_alone_and_by_half() -> None:
    light, dark = colour_places(np.array([MILLET + 0.2, 0.5 * (MILLET + 0.2)]))
    np.testing.assert_allclose(light[:2], dark[:2], atol=0.06)
    assert light[2] - dark[2] == pytest.approx(0.5 * np.log(2), abs=0.05)


def test_debris_is_told_from_shade_and_from_the_floors_own_pattern() -> None:
    """A carpet whose pattern, which lies beside itself, outnumbers the debris three to one."""
    debris, pattern, shade = shaded(MILLET, 500, 1), shaded(GREY, 1500, 2, 0.3), shaded(0.5 * GREY, 500, 3)
    member = members(np.concatenate([debris, pattern, shade]), GREY, MILLET)[:, 0] > 0.5
    assert member[:500].mean() > 0.98
    assert member[500:].mean() < 0.02


def test_a_hint_that_is_off_in_light_and_hue_is_followed_to_where_the_pixels_are() -> None:
    """Warm dim light: the photo has nine tenths of the red, two thirds of the green and half of the blue."""
    debris = shaded(MILLET * [0.9, 0.67, 0.5], 1000, 1)
    member = members(np.concatenate([debris, shaded(GREY, 1000, 2, 0.3)]), GREY, MILLET)[:, 0] > 0.5
    assert member[:1000].mean() > 0.95
    assert member[1000:].mean() < 0.02


def test_two_kinds_share_their_pixels_by_colour() -> None:
    member = members(np.concatenate([shaded(MILLET, 400, 1), shaded(PEA, 800, 2)]), OAK, MILLET, PEA)
    assert (member[:400, 0] > 0.5).mean() > 0.95
    assert (member[400:, 1] > 0.5).mean() > 0.95


def test_a_pixel_that_cannot_be_of_a_kind_is_none() -> None:
    places = colour_places(shaded(MILLET, 100, 1))
    below = colour_places(np.tile(OAK, (100, 1)))
    none = memberships([places], below, colour_places(MILLET[None]), below, np.zeros((100, 1), bool))
    assert (none == 0).all()


def test_no_pixels_are_members_of_nothing() -> None:
    empty = np.zeros((0, 3))
    assert memberships([empty], empty, colour_places(MILLET[None]), empty, np.zeros((0, 1), bool)).shape == (0, 1)


def test_in_a_heap_the_dark_side_of_debris_is_like_debris_and_the_floors_shade_is_not() -> None:
    """Three rows of a picture: debris in light and shade, floor in light and shade, floor."""
    view = np.stack([shaded(PEA, 40, 1, 0.3), shaded(OAK, 40, 2, 0.3), shaded(OAK, 40, 3, 0.95)]).astype(np.float32)
    found = like_debris(view, PEA[None], shaded(OAK, 500, 4, 0.9))
    assert found[0].mean() > 0.9
    assert found[1:].mean() < 0.05
