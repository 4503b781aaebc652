"""Reading of modules, on OpenCV's own drawing of each marker."""

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from debriscount.markers.edges import LightCrop
from debriscount.markers.modules import black_behind, may_be_marker, pattern, read_marker

CELL = 8
#: Corners of the black square where the drawing below begins: pixel centres lie at whole numbers.
CORNERS = 2 * CELL - 0.5 + CELL * np.array([[0.0, 0.0], [6.0, 0.0], [6.0, 6.0], [0.0, 6.0]])
DICTIONARY = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)


def drawing(number: int, turns: int = 0, paper: float = 0.8, ink: float = 0.035) -> NDArray[np.float64]:
    """Linear light of a marker, turned clockwise by quarters, with two modules of paper around it."""
    modules = np.pad(cv2.aruco.generateImageMarker(DICTIONARY, number, 6), 2, constant_values=255) > 127
    return np.asarray(np.kron(np.where(np.rot90(modules, -turns), paper, ink), np.ones((CELL, CELL))), float)


def crop_of(light: NDArray[np.float64]) -> LightCrop:
    colour = np.repeat(light[..., None], 3, axis=2) if light.ndim == 2 else light
    return LightCrop(colour[..., 1].astype(np.float32), colour.astype(np.float32), (0, 0))


@settings(max_examples=60)
@given(st.integers(0, 49), st.integers(0, 3), st.floats(0.02, 1.0))
def test_every_marker_is_read_in_every_turn_and_light(number: int, turns: int, lit: float) -> None:
    reading = read_marker(crop_of(lit * drawing(number, turns)), CORNERS, range(50))
    assert (reading.id, reading.turns, reading.wrong, reading.printed) == (number, turns, 0, 1.0)


@settings(max_examples=40)
@given(st.integers(0, 49), st.floats(0, 2 * np.pi), st.floats(-10, 10), st.floats(0.4, 0.9))
def test_the_edge_of_a_shadow_across_a_marker_does_no_harm(number: int, angle: float, off: float, dark: float) -> None:
    y, x = np.mgrid[0 : 10 * CELL, 0 : 10 * CELL] - 5.0 * CELL
    shade = np.where(x * np.cos(angle) + y * np.sin(angle) > off, dark, 1.0)
    reading = read_marker(crop_of(drawing(number) * shade), CORNERS, {number})
    assert reading.turns == 0
    # A module that the shadow's edge cuts lies in neither light.
    assert reading.code <= 1
    assert reading.wrong <= 8


def test_dirt_on_a_module_is_counted_where_it_lies() -> None:
    light = drawing(0)
    light[2 * CELL : 3 * CELL, 4 * CELL : 5 * CELL] = 0.7  # on the border's third module
    light[CELL : 2 * CELL, 4 * CELL : 6 * CELL] = 0.05  # on two of the ring
    reading = read_marker(crop_of(light), CORNERS, {0, 1, 2, 3})
    assert (reading.id, reading.code, reading.border, reading.ring) == (0, 0, 1, 2)


def test_another_marker_is_read_with_at_least_four_modules_wrong() -> None:
    """*Independent*: markers of the dictionary differ by four bits or more in any turn (OpenCV's generator)."""
    assert read_marker(crop_of(drawing(11)), CORNERS, {3}).code >= 4


def test_a_pale_grain_on_a_dark_tile_is_not_printed() -> None:
    """Number 17 is a square of two by two white modules: a grain on a tile with light joints reads like it."""
    tile = drawing(17, paper=0.12, ink=0.015)
    grain = tile.copy()
    white = np.zeros_like(tile, bool)
    white[3 * CELL : 7 * CELL, 3 * CELL : 7 * CELL] = tile[3 * CELL : 7 * CELL, 3 * CELL : 7 * CELL] > 0.1
    grain[white] = 0.5
    assert read_marker(crop_of(tile), CORNERS, range(50)).printed == 1.0
    reading = read_marker(crop_of(grain), CORNERS, range(50))
    assert (reading.id, reading.wrong, reading.printed) == (17, 0, 0.0)


def test_a_red_grain_as_bright_as_the_joints_is_not_printed() -> None:
    tile = drawing(17, paper=0.12, ink=0.015)
    colour = np.repeat(tile[..., None], 3, axis=2)
    inside = np.zeros_like(tile, bool)
    inside[3 * CELL : 7 * CELL, 3 * CELL : 7 * CELL] = True
    colour[inside & (tile > 0.1)] = (0.35, 0.06, 0.02)
    reading = read_marker(crop_of(colour), CORNERS, range(50))
    assert (reading.id, reading.wrong) == (17, 0)
    assert reading.printed == 0.0


def test_lamp_light_of_any_colour_leaves_print_as_it_is() -> None:
    lit = drawing(5)[..., None] * np.array([1.0, 0.6, 0.25])
    assert read_marker(crop_of(lit), CORNERS, range(50)).printed == 1.0


def test_little_contrast_is_no_marker() -> None:
    # By hand: paper of 0.5 and black of 0.4 differ by a fifth of the paper.
    assert read_marker(crop_of(drawing(5, paper=0.5, ink=0.4)), CORNERS, {5}).wrong == 64


def test_a_marker_placed_coarsely_may_be_one() -> None:
    """Off by a quarter of a module, or a tenth too small or too large."""
    middle = CORNERS.mean(axis=0)
    for number in range(50):
        crop = crop_of(drawing(number))
        coarse = [CORNERS, CORNERS + np.array([2, -2]), *(middle + share * (CORNERS - middle) for share in (0.9, 1.1))]
        assert all(may_be_marker(crop, corners) for corners in coarse)


def test_a_plain_tile_and_a_pale_one_may_not() -> None:
    tile = np.full((10 * CELL, 10 * CELL), 0.6)
    tile[2 * CELL : 8 * CELL, 2 * CELL : 8 * CELL] = 0.1
    assert not may_be_marker(crop_of(tile), CORNERS)
    assert not may_be_marker(crop_of(0.9 - drawing(5)), CORNERS)
    assert not may_be_marker(crop_of(np.full((10 * CELL, 10 * CELL), 0.4)), CORNERS)


@pytest.mark.parametrize("turns", range(4))
def test_what_lies_behind_each_side_goes_round_with_the_square(turns: int) -> None:
    seen = np.rot90(pattern(8), -turns)[1:-1, 1:-1]
    # By hand: second row, second last column downwards, second last row and second column backwards.
    expected = [~seen[1], ~seen[:, 4], ~seen[4, ::-1], ~seen[::-1, 1]]
    np.testing.assert_array_equal(black_behind(8, turns), expected)
