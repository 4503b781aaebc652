from collections.abc import Sequence

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from debriscount.geometry.markers import find_markers
from debriscount.inputs.patch import Marker

DICTIONARY = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)


def photo_of(
    markers: Sequence[Marker], size_px: tuple[int, int] = (480, 360), black: int = 40, turns: int = 0
) -> NDArray[np.uint8]:
    """Markers drawn to whole pixels on grey; ``center_mm`` and ``side_mm`` are taken as px.

    The black square of a marker covers whole pixels, so its edge lies half a pixel outside the centres of
    its outermost pixels.
    """
    pixels = np.full((size_px[1], size_px[0]), 120, np.uint8)
    for marker in markers:
        scale = int(marker.side_mm) // 6
        modules = cv2.aruco.generateImageMarker(DICTIONARY, marker.id, 6)
        square = np.kron(np.where(modules > 127, 230, black), np.ones((scale, scale)))
        paper = np.pad(square, scale, constant_values=230).astype(np.uint8)
        column, row = (int(c + 0.5) - paper.shape[0] // 2 for c in marker.center_mm)
        pixels[row : row + paper.shape[0], column : column + paper.shape[0]] = paper
    return np.ascontiguousarray(np.rot90(np.repeat(pixels[..., None], 3, axis=2), turns))


# Centres at half pixels: a square of an even number of pixels is centred between two of them.
FOUR = [Marker(n, place, 60.0) for n, place in enumerate([(79.5, 79.5), (399.5, 79.5), (399.5, 279.5), (79.5, 279.5)])]


def test_corners_of_sharp_markers_are_found_to_a_twentieth_of_a_pixel() -> None:
    seen = find_markers(photo_of(FOUR), {0, 1, 2, 3})
    assert list(seen) == [0, 1, 2, 3]
    for marker in FOUR:
        np.testing.assert_allclose(seen[marker.id].corners_px, marker.corners_mm(), atol=0.05)
        assert seen[marker.id].id == marker.id
        assert 0 < seen[marker.id].sigma_px < 0.1


def test_only_the_wanted_markers_are_given() -> None:
    assert set(find_markers(photo_of(FOUR), {1, 3, 17})) == {1, 3}


def test_a_photo_without_markers_gives_none() -> None:
    assert find_markers(np.full((200, 300, 3), 120, np.uint8), {0, 1}) == {}


@pytest.mark.parametrize("turns", [1, 2, 3])
def test_corners_go_round_from_the_markers_own_top_left(turns: int) -> None:
    """In a photo turned round the same corner of the print comes first."""
    seen = find_markers(photo_of(FOUR, turns=turns), {0, 1, 2, 3})
    for marker in FOUR:
        x, y = marker.corners_mm().T
        # np.rot90 turns the photo of 480 x 360 px counter-clockwise: column c becomes row 479 - c.
        column, row = {1: (y, 479 - x), 2: (479 - x, 359 - y), 3: (359 - y, x)}[turns]
        np.testing.assert_allclose(seen[marker.id].corners_px, np.stack([column, row], axis=-1), atol=0.05)


def test_a_marker_covered_by_a_hand_is_not_seen() -> None:
    pixels = photo_of(FOUR)
    pixels[50:110, 370:430] = 90
    assert set(find_markers(pixels, {0, 1, 2, 3})) == {0, 2, 3}


def test_large_photos_are_searched_small_first_and_found_as_well() -> None:
    """2000 x 1900 px: found on a quarter-size copy, placed at full size."""
    large = [Marker(n, place, 240.0) for n, place in enumerate([(299.5, 299.5), (1699.5, 299.5), (1699.5, 1599.5)])]
    seen = find_markers(photo_of(large, (2000, 1900)), {0, 1, 2})
    assert set(seen) == {0, 1, 2}
    for marker in large:
        np.testing.assert_allclose(seen[marker.id].corners_px, marker.corners_mm(), atol=0.05)


def test_small_markers_in_a_large_photo_are_found_at_full_size() -> None:
    # A quarter of 24 px leaves one pixel a module.
    markers = [Marker(5, (500.5, 400.5), 24.0), Marker(6, (1699.5, 1599.5), 240.0)]
    seen = find_markers(photo_of(markers, (2000, 1900)), {5, 6})
    assert set(seen) == {5, 6}


def test_a_dim_photo_does_not_move_the_corners() -> None:
    bright = photo_of(FOUR)
    dim = np.round(bright * 0.5).astype(np.uint8)
    for number, marker in find_markers(dim, {0, 1, 2, 3}).items():
        np.testing.assert_allclose(marker.corners_px, FOUR[number].corners_mm(), atol=0.05)


def test_a_marker_at_the_photos_border_is_placed_by_what_is_seen_of_its_edges() -> None:
    seen = find_markers(photo_of(FOUR)[:, 45:], {0, 1, 2, 3})
    assert set(seen) == {0, 1, 2, 3}
    for number, marker in seen.items():
        assert marker.sigma_px < 0.1
        np.testing.assert_allclose(marker.corners_px, FOUR[number].corners_mm() - (45, 0), atol=0.05)


def test_so_is_a_large_one_found_on_a_small_copy() -> None:
    large = [Marker(n, place, 240.0) for n, place in enumerate([(299.5, 299.5), (1699.5, 299.5)])]
    seen = find_markers(photo_of(large, (2000, 1900))[:, 160:], {0, 1})
    np.testing.assert_allclose(seen[0].corners_px, large[0].corners_mm() - (160, 0), atol=0.05)


@pytest.mark.parametrize("length_px", [3, 6, 12, 20])
def test_grains_on_the_edge_do_not_bend_it(length_px: int) -> None:
    """Dark grains on the paper, touching the left edge of marker 0 over up to a third of its 60 px."""
    pixels = photo_of(FOUR)
    pixels[70 : 70 + length_px, 44:50] = 60
    seen = find_markers(pixels, {0})
    np.testing.assert_allclose(seen[0].corners_px, FOUR[0].corners_mm(), atol=0.1)
