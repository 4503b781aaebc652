from dataclasses import replace

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from debriscount.cover.kinds import KindHint
from debriscount.cover.maps import ShotCover
from debriscount.grains.find import FoundGrains, find_grains

SHAPE = (300, 400)
#: Parts of a pixel along each side in which the cover of a disc is counted.
FINER = 8
GREY = np.array([0.5, 0.5, 0.5])
#: Largest relative error of the summed area that is let pass, by blur in px. Measured from 2.5 to 20 px: -0.8 to
#: +0.1 % at 0.5 px, -1.1 to -0.1 % at 0.7 px (a sharp photo resampled once), -3.8 to +0.4 % at 1 px.
BIAS = {0.5: 0.015, 0.7: 0.015, 1.0: 0.045}


def discs(places: NDArray[np.float64], radius_px: float, shape: tuple[int, int] = SHAPE) -> NDArray[np.float32]:
    """Exact cover, to 1/64, of discs at places (column, row)."""
    cover = np.zeros(shape, np.float32)
    reach = int(radius_px) + 3
    for x, y in places:
        left, top = int(x) - reach, int(y) - reach
        side = 2 * reach + 1
        fine = (np.arange(side * FINER) + 0.5) / FINER - 0.5
        inside = np.hypot(fine[None, :] + left - x, fine[:, None] + top - y) < radius_px
        part = inside.reshape(side, FINER, side, FINER).mean(axis=(1, 3))
        cut = cover[top : top + side, left : left + side]
        np.maximum(cut, part, out=cut)
    return cover


def spread(count: int, radius_px: float, seed: int = 1) -> NDArray[np.float64]:
    """Random places whose discs stand at least 4 px clear of one another and of the border."""
    rng = np.random.default_rng(seed)
    edge = radius_px + 6
    places: list[NDArray[np.float64]] = []
    for _ in range(20_000):
        place = rng.uniform((edge, edge), (SHAPE[1] - edge, SHAPE[0] - edge))
        if all(np.hypot(*(place - other)) > 2 * radius_px + 4 for other in places):
            places.append(place)
        if len(places) == count:
            break
    return np.array(places)


def shot_of(cover: NDArray[np.float32], blur_px: float = 0.7, noise: float = 0.02, seed: int = 2) -> ShotCover:
    """What the cover stage would hand over: blurred by the lens, with noise of a fiftieth of a grain."""
    seen = cv2.GaussianBlur(cover, (0, 0), blur_px) + noise * np.random.default_rng(seed).standard_normal(cover.shape)
    sigma = np.full(cover.shape, noise, np.float32)
    apart = np.abs(seen / noise).astype(np.float32)
    light = np.zeros(cover.shape, np.float32)
    return ShotCover(seen.astype(np.float32), sigma, np.zeros(cover.shape, np.uint8), apart, light, (0.0, 0.0))


def find(shot: ShotCover, *diameters_px: float) -> FoundGrains:
    """Look for kinds of which 5 and 95 % lie a fifth to either side of a diameter."""
    return find_grains(shot, [KindHint(GREY, (0.8 * d, 1.2 * d)) for d in diameters_px])


@pytest.mark.parametrize("blur_px", sorted(BIAS))
@pytest.mark.parametrize("diameter_px", [2.5, 3.0, 4.0, 5.0, 7.0, 10.0, 14.0, 20.0])
def test_the_area_of_lone_grains_is_hardly_biased(diameter_px: float, blur_px: float) -> None:
    """The sum over sixty lone discs against pi r², from specks that are all edge to grains with an inside."""
    places = spread(60, diameter_px / 2)
    found = find(shot_of(discs(places, diameter_px / 2), blur_px), diameter_px)
    truth = len(places) * np.pi / 4 * diameter_px**2
    assert len(found.area_px) == len(places)
    assert found.area_px.sum() / truth - 1 == pytest.approx(0, abs=BIAS[blur_px])


def test_specks_of_a_pixel_keep_their_sum() -> None:
    """Too small to be counted surely; their area is there all the same."""
    places = spread(60, 0.6)
    found = find(shot_of(discs(places, 0.6), noise=0.005), 1.2)
    assert found.area_px.sum() == pytest.approx(60 * np.pi * 0.36, rel=0.1)


def test_grains_lie_where_they_are() -> None:
    places = spread(40, 5.0)
    found = find(shot_of(discs(places, 5.0)), 10.0)
    order = np.lexsort((found.x_px, found.y_px))
    true_order = np.lexsort((places[:, 0], places[:, 1]))
    np.testing.assert_allclose(found.x_px[order], places[true_order, 0], atol=0.15)
    np.testing.assert_allclose(found.y_px[order], places[true_order, 1], atol=0.15)


def test_each_grain_has_its_own_area() -> None:
    """Discs of 8 and of 12 px diameter, told apart by their areas."""
    small, large = np.array([[60.0, 60.0], [60.0, 200.0]]), np.array([[200.0, 60.0], [200.0, 200.0]])
    cover = discs(small, 4.0) + discs(large, 6.0)
    found = find_grains(shot_of(cover), [KindHint(GREY, (8.0, 12.0))])
    left = found.area_px[found.x_px < 130]
    right = found.area_px[found.x_px > 130]
    np.testing.assert_allclose(left, np.pi * 16, rtol=0.05)
    np.testing.assert_allclose(right, np.pi * 36, rtol=0.05)


@pytest.mark.parametrize("diameter_px", [8.0, 12.0, 20.0])
def test_two_touching_discs_are_two_and_their_area_is_kept(diameter_px: float) -> None:
    places = np.array([[100.0, 100.0], [100.0 + diameter_px, 100.0]])
    found = find(shot_of(discs(places, diameter_px / 2)), diameter_px)
    assert len(found.area_px) == 2
    assert found.area_px.sum() == pytest.approx(2 * np.pi / 4 * diameter_px**2, rel=0.04)
    np.testing.assert_allclose(sorted(found.x_px), sorted(places[:, 0]), atol=0.4)


def test_a_long_grain_is_one() -> None:
    """Rice: 24 x 8 px, at eight headings."""
    y, x = np.mgrid[0 : SHAPE[0] * FINER, 0 : SHAPE[1] * FINER] / FINER
    cover = np.zeros((SHAPE[0] * FINER, SHAPE[1] * FINER), np.float32)
    for k in range(8):
        turn = k * np.pi / 8
        column, row = 50 + 90 * (k % 4), 75 + 150 * (k // 4)
        u, v = (
            np.cos(turn) * (x - column) + np.sin(turn) * (y - row),
            np.cos(turn) * (y - row) - np.sin(turn) * (x - column),
        )
        cover[(u / 12) ** 2 + (v / 4) ** 2 < 1] = 1
    small = cv2.resize(cover, (SHAPE[1], SHAPE[0]), interpolation=cv2.INTER_AREA)
    found = find_grains(shot_of(np.asarray(small, np.float32)), [KindHint(GREY, (8.0, 20.0))])
    assert len(found.area_px) == 8
    assert found.area_px.sum() == pytest.approx(8 * np.pi * 48, rel=0.04)


@pytest.mark.parametrize("diameter_px", [1.2, 3.0, 10.0])
def test_bare_floor_has_no_grains(diameter_px: float) -> None:
    found = find(shot_of(np.zeros(SHAPE, np.float32)), diameter_px)
    assert len(found.area_px) == 0
    assert len(found.x_px) == len(found.y_px) == len(found.kind) == 0
    assert not found.kind_map.any()


def test_a_speck_much_smaller_than_the_kind_is_no_grain_of_it() -> None:
    cover = discs(np.array([[100.0, 100.0]]), 6.0) + discs(np.array([[200.0, 100.0]]), 2.0)
    found = find(shot_of(cover), 12.0)
    assert len(found.area_px) == 1
    assert found.kind_map[100, 100] == 1
    assert found.kind_map[100, 200] == 0


def test_a_shadow_that_looks_a_little_like_debris_is_no_grain() -> None:
    """Two spots of the same cover; one of them is nowhere far from what shaded floor may look like."""
    places = np.array([[100.0, 100.0], [200.0, 100.0]])
    shot = shot_of(0.6 * discs(places, 6.0))
    apart = shot.apart.copy()
    apart[:, 150:] = 1.0
    found = find(replace(shot, apart=apart), 12.0)
    assert found.x_px == pytest.approx([100.0], abs=0.3)


def test_a_grain_in_the_shade_has_its_whole_area() -> None:
    """Half as much cover all over, as a grain shows whose colour is off: its outline is at half of its own level."""
    places = spread(30, 6.0)
    found = find(shot_of(0.6 * discs(places, 6.0)), 12.0)
    assert len(found.area_px) == 30
    assert found.area_px.sum() == pytest.approx(30 * np.pi * 36, rel=0.06)


@pytest.mark.parametrize("haze", [0.03, -0.03])
def test_small_grains_are_measured_less_what_the_floor_shows_around_them(haze: float) -> None:
    """Floor that is off by 3 % of a grain everywhere, which over the gathering outline is a third of a grain."""
    places = spread(60, 1.5)
    shot = shot_of(discs(places, 1.5))
    hazy = replace(shot, cover=shot.cover + np.float32(haze))
    found = find(hazy, 3.0)
    assert len(found.area_px) == 60
    assert found.area_px.sum() == pytest.approx(60 * np.pi * 1.5**2, rel=0.04)


def two_kinds() -> tuple[ShotCover, NDArray[np.float64]]:
    """A shot of three grains of the first kind and two of the second, and the places of the latter."""
    lentils, rice = np.array([[60.0, 60.0], [60.0, 200.0], [160.0, 60.0]]), np.array([[250.0, 60.0], [250.0, 200.0]])
    shot = shot_of(discs(lentils, 6.0) + discs(rice, 6.0))
    kind = np.zeros(SHAPE, np.uint8)
    kind[:, 205:] = 1
    return replace(shot, kind=kind), rice


def test_grains_of_two_kinds_are_kept_apart() -> None:
    shot, rice = two_kinds()
    found = find(shot, 12.0, 12.0)
    assert sorted(found.kind.tolist()) == [0, 0, 0, 1, 1]
    np.testing.assert_allclose(sorted(found.x_px[found.kind == 1]), sorted(rice[:, 0]), atol=0.2)
    assert found.kind_map[60, 60] == 1
    assert found.kind_map[60, 250] == 2
    assert found.kind_map[150, 150] == 0
    np.testing.assert_allclose(found.area_px, np.pi * 36, rtol=0.05)


def test_the_map_of_kinds_covers_about_the_grains() -> None:
    places = spread(30, 6.0)
    found = find(shot_of(discs(places, 6.0)), 12.0)
    assert int((found.kind_map == 1).sum()) == pytest.approx(30 * np.pi * 36, rel=0.06)


def test_a_grain_cut_by_the_border_is_found() -> None:
    cover = discs(np.array([[100.0, 100.0]]), 8.0)[100:, 100:]
    found = find(shot_of(np.ascontiguousarray(cover)), 16.0)
    assert len(found.area_px) == 1
    # A quarter of the disc with half a pixel more on either side, for the cut runs through pixel centres.
    assert found.area_px[0] == pytest.approx(np.pi * 16 + 8 + 0.25, rel=0.06)


def test_flipping_the_picture_changes_nothing() -> None:
    places = spread(40, 4.0)
    shot = shot_of(discs(places, 4.0))
    mirror = np.s_[:, ::-1]
    flipped = replace(shot, cover=shot.cover[mirror].copy(), apart=shot.apart[mirror].copy())
    plain, mirrored = find(shot, 8.0), find(flipped, 8.0)
    assert len(plain.area_px) == len(mirrored.area_px)
    assert plain.area_px.sum() == pytest.approx(mirrored.area_px.sum(), rel=1e-4)
