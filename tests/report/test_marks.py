import cv2
import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from debriscount.report.caption import Painter
from debriscount.report.marks import (
    cell_px,
    cross_sample,
    disc_sample,
    draw_discs,
    draw_marks,
    ring_radii,
    ring_sample,
    too_many,
)

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


@given(st.integers(0, 10**6), st.floats(1, 1e8), st.integers(100, 1600))
def test_cells_can_be_seen_and_hold_ten_grains_within_that(number: int, area: float, width: int) -> None:
    side = cell_px(number, area, width)
    assert width / 56 - 1 <= side <= width / 36 + 1
    if width / 56 < np.sqrt(10 * area / max(number, 1)) < width / 36:
        assert abs(side**2 * number / area - 10) < 10 * 3 / side + 1e-6


def test_a_discs_filled_part_is_the_untouched_share_and_its_area_the_amount() -> None:
    image = _floor(200, 200)
    places = np.array([[50.0, 50.0], [50.0, 55.0], [150.0, 150.0], [150.0, 50.0]])
    draw_discs(
        image, places, np.array([3.0, 1.0, 4.0, 1.0]), np.array([1.0, 0.0, 1.0, 0.0]), 100, (0, 0), (RING, CROSS)
    )
    filled = _is(image, RING)
    three_quarters, whole = filled[:100, :100].sum(), filled[100:, 100:].sum()
    assert abs(three_quarters / whole - 0.75) < 0.03
    assert not filled[:100, 100:].any()
    assert _is(image[:100, 100:], CROSS).any()
    # A quarter of the debris: half the radius.
    small = np.nonzero((image[:100, 100:] != FLOOR).any(axis=-1))[0]
    large = np.nonzero((image[100:, 100:] != FLOOR).any(axis=-1))[0]
    assert abs(np.ptp(small) / np.ptp(large) - 0.5) < 0.06


def test_shares_that_stray_are_drawn_as_none_or_all() -> None:
    places, areas = np.array([[50.0, 50.0]]), np.array([1.0])
    pictures = []
    for share in (-0.4, 0.0, 1.0, 1.7):
        image = _floor(100, 100)
        draw_discs(image, places, areas, np.array([share]), 100, (0, 0), (RING, CROSS))
        pictures.append(image)
    assert (pictures[0] == pictures[1]).all()
    assert (pictures[2] == pictures[3]).all()
    assert not (pictures[1] == pictures[2]).all()


def test_cells_begin_at_the_patchs_corner() -> None:
    image = _floor(100, 100)
    draw_discs(image, np.array([[28.0, 28.0], [32.0, 28.0]]), np.ones(2), np.ones(2), 20, (30.0, 30.0), (RING, CROSS))
    columns = np.nonzero(_is(image, RING).any(axis=0))[0]
    assert 29 not in columns
    assert columns.min() < 29 < columns.max()


def test_no_grains_leave_the_picture_as_it_was() -> None:
    image = _floor()
    draw_marks(image, np.zeros((0, 2)), np.zeros(0), np.zeros(0, bool), (RING, CROSS))
    draw_discs(image, np.zeros((0, 2)), np.zeros(0), np.zeros(0), 20, (0, 0), (RING, CROSS))
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
    disc = painted(disc_sample(0.7, (RING, RING), FLOOR))
    for a, b in ((ring, cross), (ring, disc), (cross, disc)):
        assert np.abs(a.astype(int) - b).max() > 60
