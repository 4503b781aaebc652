import cv2
import numpy as np
from numpy.typing import NDArray

from debriscount.report.caption import Painter
from debriscount.report.marks import cross_sample, draw_marks, ring_radii, ring_sample, too_many

FLOOR, RING, CROSS = (150, 150, 148), (0, 114, 178), (240, 228, 66)


def _floor(height: int = 120, width: int = 160) -> NDArray[np.uint8]:
    return np.full((height, width, 3), FLOOR, np.uint8)


def _is(image: NDArray[np.uint8], color: tuple[int, int, int]) -> NDArray[np.bool_]:
    return np.asarray((image == color).all(axis=-1))


def _drawn(diameter: float, untouched: bool) -> tuple[NDArray[np.uint8], float]:
    image = _floor()
    radius = ring_radii(np.array([diameter]))
    draw_marks(image, np.array([[80.0, 60.0]]), radius, np.array([untouched]), (RING, CROSS))
    return image, float(radius[0])


def test_a_ring_goes_round_its_grain_and_leaves_it_free() -> None:
    image, radius = _drawn(20.0, True)
    row, column = np.nonzero(_is(image, RING))
    away = np.hypot(row - 60, column - 80)
    assert np.abs(away - radius).max() < 2
    assert len(np.unique(np.round(np.arctan2(row - 60, column - 80), 1))) > 50  # all round
    assert (image[60 - 9 : 60 + 10, 80] == FLOOR).all()


def test_a_cross_has_four_arms_and_an_open_middle() -> None:
    image, radius = _drawn(20.0, False)
    row, column = np.nonzero(_is(image, CROSS))
    turn = np.degrees(np.arctan2(row - 60, column - 80)) % 90
    assert np.abs(turn - 45).max() < 20
    assert np.hypot(row - 60, column - 80).min() > 0.5 * radius
    assert not _is(image, RING).any()


def test_the_smallest_grain_gets_a_mark_that_is_seen() -> None:
    assert ring_radii(np.array([0.0, 0.3, 20.0])).tolist() == [5.0, 5.0, 13.5]


def test_halos_never_cover_marks() -> None:
    """Neighbours' halos lie below all rings: a ring drawn early keeps its whole colour."""
    image = _floor()
    places = np.array([[70.0, 60.0], [80.0, 60.0]])
    draw_marks(image, places, np.array([8.0, 8.0]), np.array([True, True]), (RING, CROSS))
    angle = np.linspace(0, 2 * np.pi, 60)
    for x, y in places:
        on = image[np.rint(y + 8 * np.sin(angle)).astype(int), np.rint(x + 8 * np.cos(angle)).astype(int)]
        assert (np.abs(on.astype(int) - RING).sum(axis=1) < 120).all()


def test_marks_are_too_many_where_they_would_hide_the_floor() -> None:
    radii = np.full(100, 5.0)
    assert not too_many(radii, 1e6)
    assert too_many(radii, 4 * np.pi * 25 * 100)
    assert not too_many(np.zeros(0), 100.0)


def test_no_grains_leave_the_picture_as_it_was() -> None:
    image = _floor()
    draw_marks(image, np.zeros((0, 2)), np.zeros(0), np.zeros(0, bool), (RING, CROSS))
    assert (image == FLOOR).all()


def test_samples_of_the_legend_stay_in_their_boxes_and_differ_without_colour() -> None:
    def painted(sample: Painter) -> NDArray[np.uint8]:
        image = np.full((60, 100, 3), 250, np.uint8)
        sample(image, 20, 15, 60, 24)
        outside = np.ones((60, 100), bool)
        outside[13:41, 18:82] = False
        assert (image[outside] == 250).all()
        return np.asarray(cv2.cvtColor(image, cv2.COLOR_RGB2GRAY), np.uint8)

    ring, cross = painted(ring_sample(RING, (200, 60, 40), FLOOR)), painted(cross_sample(RING, (200, 60, 40), FLOOR))
    assert np.abs(ring.astype(int) - cross).max() > 60
