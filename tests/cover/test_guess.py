from typing import TYPE_CHECKING

import numpy as np
import pytest

from debriscount.cover.guess import guess_kinds, guess_kinds_alone

if TYPE_CHECKING:
    from tests.cover.conftest import Painter


@pytest.mark.parametrize("radius_px", [3.5, 5.0, 8.6])
def test_size_and_colour_of_scattered_grains_are_seen(painter: "Painter", radius_px: float) -> None:
    strewn = painter.scatter(2, 80, radius_px)
    floor = painter.grained(1)
    view = painter.photographed(floor, strewn.cover, 0.8, seed=3)
    other = painter.photographed(floor, np.zeros(painter.shape, np.float32), seed=4)
    (kind,) = guess_kinds(view, other, np.ones(painter.shape, bool))
    low, high = kind.size_px
    assert float(np.sqrt(low * high)) == pytest.approx(2 * radius_px, abs=0.5)
    assert low < 2 * radius_px < high
    np.testing.assert_allclose(kind.colour, painter.lentil, atol=0.02)


def test_two_kinds_are_seen_as_two_the_more_frequent_first(painter: "Painter") -> None:
    floor = painter.grained(1)
    rice = np.array([0.65, 0.58, 0.45], np.float32)
    strewn = painter.scatter(2, 90, 6.0)
    y, x = np.mgrid[0 : painter.shape[0], 0 : painter.shape[1]]
    colour = np.broadcast_to(rice, (*painter.shape, 3)).copy()
    for column, row in strewn.places[::3]:
        colour[np.hypot(x - column, y - row) < 7.5] = painter.lentil
    view = painter.photographed(floor, strewn.cover, seed=3, debris=colour)
    other = painter.photographed(floor, np.zeros(painter.shape, np.float32), seed=4)
    kinds = guess_kinds(view, other, np.ones(painter.shape, bool))
    assert len(kinds) == 2
    np.testing.assert_allclose(kinds[0].colour, rice, atol=0.03)
    np.testing.assert_allclose(kinds[1].colour, painter.lentil, atol=0.03)


def test_two_shots_of_the_same_floor_show_no_kind(painter: "Painter") -> None:
    floor, nothing = painter.grained(1), np.zeros(painter.shape, np.float32)
    shots = [painter.photographed(floor, nothing, light, seed) for light, seed in ((0.9, 3), (1.0, 4))]
    assert guess_kinds(shots[0], shots[1], np.ones(painter.shape, bool)) == ()


def test_grains_that_are_not_usable_show_no_kind(painter: "Painter") -> None:
    floor, nothing = painter.grained(1), np.zeros(painter.shape, np.float32)
    cover = painter.scatter(2, 80, 6.0).cover
    cover[:, :240] = 0
    usable = np.zeros(painter.shape, bool)
    usable[:, :230] = True
    view = painter.photographed(floor, cover, seed=3)
    assert guess_kinds(view, painter.photographed(floor, nothing, seed=4), usable) == ()


@pytest.mark.parametrize("radius_px", [3.5, 6.0, 8.6])
def test_size_and_colour_are_seen_in_a_single_shot(painter: "Painter", radius_px: float) -> None:
    """Light falls by a third across the view: only the floor around a grain tells what is floor."""
    strewn = painter.scatter(2, 60, radius_px)
    ramp = np.linspace(1.1, 0.75, painter.shape[1], dtype=np.float32)[None, :, None]
    view = painter.photographed(painter.grained(1, contrast=0.02), strewn.cover, ramp, seed=3)
    (kind,) = guess_kinds_alone(view, np.ones(painter.shape, bool))
    low, high = kind.size_px
    assert float(np.sqrt(low * high)) == pytest.approx(2 * radius_px, rel=0.1)
    np.testing.assert_allclose(kind.colour, painter.lentil, atol=0.04)
    assert not kind.size_known


def test_bare_floor_alone_shows_no_kind(painter: "Painter") -> None:
    view = painter.photographed(painter.grained(1, contrast=0.02), np.zeros(painter.shape, np.float32), seed=3)
    assert guess_kinds_alone(view, np.ones(painter.shape, bool)) == ()
