from collections.abc import Sequence

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from debriscount.inputs.patch import Marker
from debriscount.markers.find_markers import find_markers, marker_search, outlines


def sheet(side: int, width: int, height: int, grey: int = 120) -> NDArray[np.uint8]:
    """Marker 3 on white paper in the middle of a grey picture; its side a multiple of six, px."""
    picture = np.full((height, width), grey, np.uint8)
    square = np.kron(cv2.aruco.generateImageMarker(DICTIONARY, 3, 6), np.ones((side // 6, side // 6)))
    paper = np.pad(square, side // 5, constant_values=255).astype(np.uint8)
    top, left = (height - len(paper)) // 2, (width - len(paper)) // 2
    picture[top : top + len(paper), left : left + len(paper)] = paper
    return picture


def test_copies_go_from_a_quarter_to_the_whole() -> None:
    """Corners are told in pixels of the photo and known to half a pixel of the copy and half of the photo's."""
    found = list(outlines(sheet(240, 2400, 1800)))
    assert len(found) == 3
    for several, off_px in zip(found, (2.5, 1.5, 1.0), strict=True):
        (named,) = [one for one in several if one.id == 3]
        assert named.off_px == off_px
        # By hand: centred, so the black square is 1080 to 1320 px wide and 780 to 1020 px high, less half a pixel.
        expected = np.array([[1079.5, 779.5], [1319.5, 779.5], [1319.5, 1019.5], [1079.5, 1019.5]])
        assert np.abs(named.corners_px - expected).max() <= 2 * off_px


def test_a_small_photo_is_searched_as_it_is() -> None:
    assert len(list(outlines(sheet(60, 400, 300)))) == 1
    assert len(list(outlines(sheet(60, 1000, 900)))) == 2


def test_the_rim_of_the_sheet_does_not_stand_for_the_marker() -> None:
    """On a dark floor the paper's own rim is an outline as well, 0.07 of its length from the black square's."""
    picture = np.full((300, 300), 30, np.uint8)
    picture[125:175, 125:175] = 200  # paper of 50 px
    picture[132:168, 132:168] = 20  # black of 36 px, without a code
    (several,) = outlines(np.asarray(cv2.GaussianBlur(picture, (0, 0), 1.2), np.uint8))
    sides = [float(np.linalg.norm(one.corners_px[1] - one.corners_px[0])) for one in several]
    assert any(30 < side < 40 for side in sides)
    assert max(sides) > 46


def test_an_empty_picture_has_none() -> None:
    assert list(outlines(np.full((300, 400), 90, np.uint8))) == [[]]


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


def test_a_marker_that_the_photo_cuts_is_not_seen() -> None:
    assert set(find_markers(photo_of(FOUR)[:, 55:], {0, 1, 2, 3})) == {1, 2}


def test_paper_and_black_are_told_in_linear_light() -> None:
    seen = find_markers(photo_of(FOUR), {0, 1, 2, 3})
    # *Published*: IEC 61966-2-1, levels 230 and 40 are 0.791 and 0.0212.
    assert seen[2].paper == pytest.approx(0.791, abs=0.002)
    assert seen[2].ink == pytest.approx(0.0212, abs=0.001)


def test_burnt_out_paper_makes_corners_uncertain() -> None:
    """Where half of its light is cannot be known, so neither can the edge."""
    burnt = np.minimum(cv2.GaussianBlur(photo_of(FOUR), (0, 0), 1.2).astype(int) * 2, 255).astype(np.uint8)
    seen = find_markers(burnt, {0, 1, 2, 3})
    assert set(seen) == {0, 1, 2, 3}
    assert all(marker.sigma_px > 0.2 for marker in seen.values())
    assert find_markers(photo_of(FOUR), {0})[0].sigma_px < 0.1


def test_of_two_prints_of_a_number_both_are_seen_and_the_clearer_is_given() -> None:
    copy = Marker(0, (239.5, 179.5), 60.0)
    pixels = photo_of([*FOUR, copy])
    pixels[151:159, 221:229] = 230  # dirt on the copy's border
    *_, last = marker_search(pixels, {0, 1, 2, 3})
    assert len(last.seen[0]) == 2
    np.testing.assert_allclose(find_markers(pixels, {0})[0].corners_px, FOUR[0].corners_mm(), atol=0.1)


def test_a_mirrored_marker_is_not_read() -> None:
    assert not find_markers(np.ascontiguousarray(photo_of(FOUR)[:, ::-1]), {0, 1, 2, 3})


def painted(sigma_px: float, scale: float, turn_deg: float, noise: float, seed: int) -> NDArray[np.uint8]:
    """Four markers in linear light, turned and made smaller about the middle, blurred, with noise."""
    turn = np.vstack([cv2.getRotationMatrix2D((239.5, 179.5), turn_deg, scale), [0, 0, 1]])
    finer = np.array([[3, 0, 1], [0, 3, 1], [0, 0, 1.0]])
    sharp = (photo_of(FOUR, black=35) / 255.0) ** 2.2
    fine = cv2.warpPerspective(sharp, finer @ turn, (1440, 1080), borderValue=(0.2, 0.2, 0.2, 0))
    blurred = cv2.resize(cv2.GaussianBlur(fine, (0, 0), 3 * sigma_px), (480, 360), interpolation=cv2.INTER_AREA)
    light = np.asarray(blurred, float) + noise * np.random.default_rng(seed).standard_normal(blurred.shape)
    return np.asarray(np.round(255 * np.clip(light, 0, 1) ** (1 / 2.2)), np.uint8)


@settings(max_examples=20)
@given(st.floats(0.5, 1.13), st.floats(0.42, 0.75), st.floats(-180, 180), st.integers(0, 1000))
def test_small_blurred_noisy_markers_are_found(sigma_px: float, scale: float, turn_deg: float, seed: int) -> None:
    """Squares of 25 to 45 px, edges up to 3 px wide (a blur of 1.13 px and the pixels' own), a hundredth of noise."""
    seen = find_markers(painted(sigma_px, scale, turn_deg, 0.01, seed), {0, 1, 2, 3})
    assert set(seen) == {0, 1, 2, 3}
    turn = cv2.getRotationMatrix2D((239.5, 179.5), turn_deg, scale)
    for marker in FOUR:
        corners = marker.corners_mm() @ turn[:, :2].T + turn[:, 2]
        np.testing.assert_allclose(seen[marker.id].corners_px, corners, atol=0.6)


def strewn_floor(rng: np.random.Generator, joints: bool) -> NDArray[np.uint8]:
    """A floor of specks or of small dark tiles with light joints, under grains of all sizes and colours."""
    size = (420, 560)
    light = np.exp(0.3 * cv2.GaussianBlur(rng.standard_normal(size), (0, 0), float(rng.uniform(0.8, 6))) * 3)
    light = 0.15 * light[..., None] * rng.uniform(0.3, 1.5, 3)
    if joints:
        step, width = int(rng.integers(14, 60)), int(rng.integers(3, 8))
        light[np.add.outer(np.arange(size[0]) % step < width, np.arange(size[1]) % step < width) > 0] = 0.6
    for _ in range(400):
        x, y = rng.uniform(0, size[1]), rng.uniform(0, size[0])
        cv2.circle(light, (int(x), int(y)), int(rng.integers(1, 9)), tuple(rng.uniform(0.02, 0.9, 3)), cv2.FILLED)
    turn = cv2.getRotationMatrix2D((280, 210), float(rng.uniform(0, 90)), 1.5)
    light = cv2.GaussianBlur(cv2.warpAffine(light, turn, (560, 420)), (0, 0), 0.8)
    return np.asarray(np.round(255 * np.clip(light, 0, 1) ** (1 / 2.2)), np.uint8)


@pytest.mark.parametrize("joints", [False, True])
def test_no_marker_is_seen_on_strewn_floors(joints: bool) -> None:
    """Of all fifty numbers; a thousand simulated floors are looked at in tests/benchmarks/geometry.py."""
    rng = np.random.default_rng(7)
    assert not [seen for seen in (find_markers(strewn_floor(rng, joints), range(50)) for _ in range(12)) if seen]
