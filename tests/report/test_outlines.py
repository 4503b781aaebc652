import cv2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from numpy.typing import NDArray

from debriscount.report.outlines import draw_outlines, outline_map, ring_widths
from debriscount.report.palette import DARK, LIGHT, contrasting

kind_maps = arrays(np.uint8, (14, 17), elements=st.sampled_from([0, 0, 0, 0, 1, 2]))


def test_a_grain_of_one_pixel_gets_a_ring_and_a_halo() -> None:
    kind_map = np.zeros((7, 7), np.uint8)
    kind_map[3, 3] = 2
    expected = np.array(
        [
            [0, 0, 0, 0, 0, 0, 0],
            [0, 0, 0, 130, 0, 0, 0],
            [0, 0, 130, 2, 130, 0, 0],
            [0, 130, 2, 0, 2, 130, 0],
            [0, 0, 130, 2, 130, 0, 0],
            [0, 0, 0, 130, 0, 0, 0],
            [0, 0, 0, 0, 0, 0, 0],
        ]
    )
    np.testing.assert_array_equal(outline_map(kind_map, [1, 1], 1), expected)


@given(kind_maps, st.sampled_from([[1, 1], [1, 2], [2, 2], [3, 1]]))
def test_outlines_lie_outside_of_all_grains(kind_map: NDArray[np.uint8], rings: list[int]) -> None:
    where = outline_map(kind_map, rings, 1)
    assert not where[kind_map > 0].any()


@given(kind_maps)
def test_every_floor_pixel_beside_a_grain_is_outline(kind_map: NDArray[np.uint8]) -> None:
    where = outline_map(kind_map, [1, 1], 1)
    for code in (1, 2):
        near = cv2.dilate((kind_map == code).astype(np.uint8), np.array([[0, 1, 0], [1, 1, 1], [0, 1, 0]], np.uint8))
        beside = (np.asarray(near) > 0) & (kind_map == 0)
        assert (where[beside] >= code).all()
        assert (where[beside] < 128).all()


def test_each_kind_has_its_own_width_and_colour() -> None:
    kind_map = np.zeros((20, 40), np.uint8)
    kind_map[8:12, 8:12], kind_map[8:12, 28:32] = 1, 2
    image = np.full((20, 40, 3), 77, np.uint8)
    orange, blue = (230, 159, 0), (0, 114, 178)
    draw_outlines(image, kind_map, [orange, blue], [2, 1])
    row = [tuple(pixel) for pixel in image[9].tolist()]
    assert row[4:13] == [(77,) * 3, contrasting(orange)[0], orange, orange, *[(77,) * 3] * 4, orange]
    assert row[25:29] == [(77,) * 3, contrasting(blue)[0], blue, (77,) * 3]


def test_halos_are_dark_round_light_outlines_and_light_round_dark_ones() -> None:
    assert contrasting((240, 228, 66))[0] == DARK
    assert contrasting((0, 60, 120))[0] == LIGHT


@pytest.mark.parametrize("kinds", [0, 1])
def test_a_clean_floor_stays_as_it_is(kinds: int) -> None:
    image = np.full((9, 9, 3), 77, np.uint8)
    draw_outlines(image, np.zeros((9, 9), np.uint8), [(1, 2, 3)] * kinds, [1] * kinds)
    assert (image == 77).all()


def test_outlines_are_thick_round_few_or_large_grains_only() -> None:
    few, many = np.zeros((200, 200), np.uint8), np.zeros((200, 200), np.uint8)
    few[100, 100] = 1
    many[::8, ::8] = 1
    assert ring_widths(few, [1.0], 1) == [2]
    assert ring_widths(many, [1.0], 1) == [1]
    assert ring_widths(many, [8.5], 1) == [2]
    assert ring_widths(many, [8.5, float("nan")], 2) == [2, 4]


def test_dense_dust_is_outlined_as_a_whole() -> None:
    kind_map = (np.random.default_rng(1).random((300, 300)) < 0.3).astype(np.uint8)
    kind_map[:60] = 0
    image = np.full((300, 300, 3), 77, np.uint8)
    draw_outlines(image, kind_map, [(0, 114, 178)], [1])
    drawn = (image != 77).any(axis=2)
    assert not drawn[kind_map > 0].any()
    assert drawn[80:-20, 20:-20].mean() < 0.05
    assert (drawn[50:62].sum(axis=0) > 0).mean() > 0.9  # but along the dust's own border
