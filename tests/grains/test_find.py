from dataclasses import replace
from typing import TYPE_CHECKING

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from debriscount.cover.kinds import KindHint
from debriscount.cover.maps import ShotCover
from debriscount.grains.find import UNSEEN_U, FoundGrains, find_grains, least_area_px

if TYPE_CHECKING:
    from tests.grains.conftest import Painter

GREY = np.array([0.5, 0.5, 0.5])
#: Largest relative error of the summed area that is let pass, by blur in px. Measured from 2.5 to 20 px: -0.8 to
#: +0.1 % at 0.5 px, -1.1 to -0.1 % at 0.7 px (a sharp photo resampled once), -3.8 to +0.4 % at 1 px.
BIAS = {0.5: 0.015, 0.7: 0.015, 1.0: 0.045}


def find(shot: ShotCover, *diameters_px: float) -> FoundGrains:
    """Look for kinds of which 5 and 95 % lie a fifth to either side of a diameter."""
    return find_grains(shot, [KindHint(GREY, (0.8 * d, 1.2 * d)) for d in diameters_px])


@pytest.mark.parametrize("blur_px", sorted(BIAS))
@pytest.mark.parametrize("diameter_px", [2.5, 3.0, 4.0, 5.0, 7.0, 10.0, 14.0, 20.0])
def test_the_area_of_lone_grains_is_hardly_biased(painter: "Painter", diameter_px: float, blur_px: float) -> None:
    """The sum over sixty lone discs against pi r², from specks that are all edge to grains with an inside."""
    places = painter.places_apart(60, diameter_px / 2)
    found = find(painter.shot_of(painter.discs(places, diameter_px / 2), blur_px), diameter_px)
    truth = len(places) * np.pi / 4 * diameter_px**2
    assert len(found.area_px) == len(places)
    assert found.area_px.sum() / truth - 1 == pytest.approx(0, abs=BIAS[blur_px])


def test_specks_of_a_pixel_keep_their_sum(painter: "Painter") -> None:
    """Too small to be counted surely; their area is there all the same."""
    places = painter.places_apart(60, 0.6)
    found = find(painter.shot_of(painter.discs(places, 0.6), noise=0.005), 1.2)
    assert found.area_px.sum() == pytest.approx(60 * np.pi * 0.36, rel=0.1)


def test_grains_lie_where_they_are(painter: "Painter") -> None:
    places = painter.places_apart(40, 5.0)
    found = find(painter.shot_of(painter.discs(places, 5.0)), 10.0)
    order = np.lexsort((found.x_px, found.y_px))
    true_order = np.lexsort((places[:, 0], places[:, 1]))
    np.testing.assert_allclose(found.x_px[order], places[true_order, 0], atol=0.15)
    np.testing.assert_allclose(found.y_px[order], places[true_order, 1], atol=0.15)


def test_each_grain_has_its_own_area(painter: "Painter") -> None:
    """Discs of 8 and of 12 px diameter, told apart by their areas."""
    small, large = np.array([[60.0, 60.0], [60.0, 200.0]]), np.array([[200.0, 60.0], [200.0, 200.0]])
    cover = painter.discs(small, 4.0) + painter.discs(large, 6.0)
    found = find_grains(painter.shot_of(cover), [KindHint(GREY, (8.0, 12.0))])
    left = found.area_px[found.x_px < 130]
    right = found.area_px[found.x_px > 130]
    np.testing.assert_allclose(left, np.pi * 16, rtol=0.05)
    np.testing.assert_allclose(right, np.pi * 36, rtol=0.05)


@pytest.mark.parametrize("diameter_px", [8.0, 12.0, 20.0])
def test_two_touching_discs_are_two_and_their_area_is_kept(painter: "Painter", diameter_px: float) -> None:
    places = np.array([[100.0, 100.0], [100.0 + diameter_px, 100.0]])
    found = find(painter.shot_of(painter.discs(places, diameter_px / 2)), diameter_px)
    assert len(found.area_px) == 2
    assert found.area_px.sum() == pytest.approx(2 * np.pi / 4 * diameter_px**2, rel=0.04)
    np.testing.assert_allclose(sorted(found.x_px), sorted(places[:, 0]), atol=0.4)


def test_long_grains_are_counted_and_measured(painter: "Painter") -> None:
    """Rice: 24 x 8 px, at eight headings."""
    cover = np.zeros(painter.shape, np.float32)
    for k in range(8):
        place = np.array([[50.0 + 90 * (k % 4), 75.0 + 150 * (k // 4)]])
        cover += painter.ellipses(place, 24, 8, 180 / 8 * k)
    found = find_grains(painter.shot_of(cover), [KindHint(GREY, (8.0, 20.0))])
    assert len(found.area_px) == 8
    assert found.area_px.sum() == pytest.approx(8 * np.pi * 48, rel=0.04)


@pytest.mark.parametrize("diameter_px", [1.2, 3.0, 10.0])
def test_bare_floor_has_no_grains(painter: "Painter", diameter_px: float) -> None:
    found = find(painter.shot_of(np.zeros(painter.shape, np.float32)), diameter_px)
    assert len(found.area_px) == 0
    assert len(found.x_px) == len(found.y_px) == len(found.kind) == 0
    assert not found.kind_map.any()


def test_a_speck_much_smaller_than_the_kind_is_no_grain_of_it(painter: "Painter") -> None:
    cover = painter.discs(np.array([[100.0, 100.0]]), 6.0) + painter.discs(np.array([[200.0, 100.0]]), 2.0)
    found = find(painter.shot_of(cover), 12.0)
    assert len(found.area_px) == 1
    assert found.kind_map[100, 100] == 1
    assert found.kind_map[100, 200] == 0


def test_a_shadow_that_looks_a_little_like_debris_is_no_grain(painter: "Painter") -> None:
    """Two spots of the same cover; one of them is nowhere far from what shaded floor may look like."""
    places = np.array([[100.0, 100.0], [200.0, 100.0]])
    shot = painter.shot_of(0.6 * painter.discs(places, 6.0))
    apart = shot.apart.copy()
    apart[:, 150:] = 1.0
    found = find(replace(shot, apart=apart), 12.0)
    assert found.x_px == pytest.approx([100.0], abs=0.3)


def test_a_grain_in_the_shade_has_its_whole_area(painter: "Painter") -> None:
    """Half as much cover all over, as a grain shows whose colour is off: its outline is at half of its own level."""
    places = painter.places_apart(30, 6.0)
    found = find(painter.shot_of(0.6 * painter.discs(places, 6.0)), 12.0)
    assert len(found.area_px) == 30
    assert found.area_px.sum() == pytest.approx(30 * np.pi * 36, rel=0.06)


@pytest.mark.parametrize("haze", [0.03, -0.03])
def test_small_grains_are_measured_less_what_the_floor_shows_around_them(painter: "Painter", haze: float) -> None:
    """Floor that is off by 3 % of a grain everywhere, which over the gathering outline is a third of a grain."""
    places = painter.places_apart(60, 1.5)
    shot = painter.shot_of(painter.discs(places, 1.5))
    hazy = replace(shot, cover=shot.cover + np.float32(haze))
    found = find(hazy, 3.0)
    assert len(found.area_px) == 60
    assert found.area_px.sum() == pytest.approx(60 * np.pi * 1.5**2, rel=0.04)


def two_kinds(painter: "Painter") -> tuple[ShotCover, NDArray[np.float64]]:
    """A shot of three grains of the first kind and two of the second, and the places of the latter."""
    lentils, rice = np.array([[60.0, 60.0], [60.0, 200.0], [160.0, 60.0]]), np.array([[250.0, 60.0], [250.0, 200.0]])
    shot = painter.shot_of(painter.discs(lentils, 6.0) + painter.discs(rice, 6.0))
    kind = np.zeros(painter.shape, np.uint8)
    kind[:, 205:] = 1
    return replace(shot, kind=kind), rice


def test_grains_of_two_kinds_are_kept_apart(painter: "Painter") -> None:
    shot, rice = two_kinds(painter)
    found = find(shot, 12.0, 12.0)
    assert sorted(found.kind.tolist()) == [0, 0, 0, 1, 1]
    np.testing.assert_allclose(sorted(found.x_px[found.kind == 1]), sorted(rice[:, 0]), atol=0.2)
    assert found.kind_map[60, 60] == 1
    assert found.kind_map[60, 250] == 2
    assert found.kind_map[150, 150] == 0
    np.testing.assert_allclose(found.area_px, np.pi * 36, rtol=0.05)


def test_the_map_of_kinds_covers_about_the_grains(painter: "Painter") -> None:
    places = painter.places_apart(30, 6.0)
    found = find(painter.shot_of(painter.discs(places, 6.0)), 12.0)
    assert int((found.kind_map == 1).sum()) == pytest.approx(30 * np.pi * 36, rel=0.06)


def test_a_grain_cut_by_the_border_is_found(painter: "Painter") -> None:
    cover = painter.discs(np.array([[100.0, 100.0]]), 8.0)[100:, 100:]
    found = find(painter.shot_of(np.ascontiguousarray(cover)), 16.0)
    assert len(found.area_px) == 1
    # A quarter of the disc with half a pixel more on either side, for the cut runs through pixel centres.
    assert found.area_px[0] == pytest.approx(np.pi * 16 + 8 + 0.25, rel=0.06)


def test_flipping_the_picture_changes_nothing(painter: "Painter") -> None:
    places = painter.places_apart(40, 4.0)
    shot = painter.shot_of(painter.discs(places, 4.0))
    mirror = np.s_[:, ::-1]
    flipped = replace(shot, cover=shot.cover[mirror].copy(), apart=shot.apart[mirror].copy())
    plain, mirrored = find(shot, 8.0), find(flipped, 8.0)
    assert len(plain.area_px) == len(mirrored.area_px)
    assert plain.area_px.sum() == pytest.approx(mirrored.area_px.sum(), rel=1e-4)


def with_shade(painter: "Painter", shot: ShotCover, shades: NDArray[np.float64], radius_px: float = 6.0) -> ShotCover:
    """The shot with half of the floor's light gone at places."""
    noise = 0.02 * np.random.default_rng(3).standard_normal(painter.shape)
    light = noise - 0.5 * painter.discs(shades, radius_px) * (shot.cover < 0.5)
    return replace(shot, light=light.astype(np.float32))


#: Grains on a grid, where they throw shade, and places far from both.
GRID = np.array([[60.0 + 70 * (k % 5), 50.0 + 60 * (k // 5)] for k in range(20)])
SHADES = GRID + np.array([7.0, 6.0])
UNSEEN = np.array([[95.0, 140.0], [300.0, 80.0]])


def test_grains_that_only_their_shade_gives_away_have_the_mean_area(painter: "Painter") -> None:
    """Twenty grains are seen, two of the floor's own colour are not; all throw the same shade."""
    shot = painter.shot_of(painter.discs(GRID[:10], 5.5) + painter.discs(GRID[10:], 6.5))
    shot = with_shade(painter, shot, np.concatenate([SHADES, UNSEEN]))
    found, plain = find(shot, 12.0), find(replace(shot, light=np.zeros_like(shot.light)), 12.0)
    assert (len(plain), len(found)) == (20, 22)
    assert found.x_px[-2:].tolist() == pytest.approx([300.0, 95.0], abs=0.5)
    assert found.area_px[-2:] == pytest.approx([plain.area_px.mean()] * 2)
    # What goes unseen may go with size.
    assert found.limit_px[-2:] == pytest.approx([UNSEEN_U * plain.area_px.std()] * 2)
    assert len({*found.clump[-2:]} - {*plain.clump}) == 2
    for x, y in UNSEEN.astype(int):
        assert found.kind_map[y, x] == 1
    assert found.kind.tolist() == [0] * 22


def test_shade_beside_a_grain_and_the_soft_shadow_of_a_person_are_no_grains(painter: "Painter") -> None:
    shot = with_shade(painter, painter.shot_of(painter.discs(GRID, 6.0)), SHADES)
    person = cv2.GaussianBlur(painter.discs(np.array([[200.0, 150.0]]), 40.0), (0, 0), 10.0)
    assert len(find(replace(shot, light=shot.light - np.float32(0.5) * person), 12.0)) == 20


def test_unseen_grains_are_of_the_kind_that_is_hardest_to_see(painter: "Painter") -> None:
    shot = with_shade(painter, painter.shot_of(painter.discs(GRID, 6.0)), np.concatenate([SHADES, UNSEEN]))
    kind = np.zeros(painter.shape, np.uint8)
    kind[140:] = 1
    for faint in (0, 1):
        sigma = np.where(kind == faint, np.float32(0.05), shot.sigma)
        found = find(replace(shot, kind=kind, sigma=sigma), 12.0, 12.0)
        assert len(found) == 22
        assert found.kind[-2:].tolist() == [faint] * 2


def test_a_mirrored_shot_of_a_clean_floor_shows_as_little(painter: "Painter") -> None:
    shot = painter.shot_of(np.zeros(painter.shape, np.float32))
    assert len(find(shot.mirrored(), 12.0)) == len(find(shot, 12.0)) == 0


@pytest.mark.parametrize("size_px", [(2.0, 3.0), (10.0, 14.0)])
def test_the_least_area_is_that_of_the_way_grains_are_found(size_px: tuple[float, float]) -> None:
    """By hand: half the smallest disc where all is edge, a third of it where there is an outline."""
    share = {2.0: 0.5, 10.0: 0.33}[size_px[0]]
    assert least_area_px(KindHint(GREY, size_px)) == pytest.approx(share * np.pi / 4 * size_px[0] ** 2)
