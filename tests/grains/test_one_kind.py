from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pytest
from numpy.typing import NDArray

from debriscount.cover.kinds import KindHint
from debriscount.cover.maps import ShotCover
from debriscount.grains.find import find_grains
from debriscount.grains.one_kind import kinds_by_grain

if TYPE_CHECKING:
    from tests.grains.conftest import Painter

RADIUS_PX = 8.0
LENTIL, RICE = (KindHint(np.full(3, level), (14.0, 18.0)) for level in (0.3, 0.6))
PLACES = np.array([[60.0, 60.0], [160.0, 60.0], [60.0, 160.0], [160.0, 160.0]])


def shaded(painter: "Painter", places: NDArray[np.float64] = PLACES, share: float = 0.35) -> ShotCover:
    """Grains of the first kind; the right ``share`` of each looks like the second."""
    shot = painter.shot_of(painter.discs(places, RADIUS_PX))
    kind = np.zeros(painter.shape, np.uint8)
    x = np.arange(painter.shape[1])
    for column, row in places.astype(int):
        top, left = row - 12, column - 12
        kind[top : row + 12, left : column + 12] = x[left : column + 12] > column + RADIUS_PX * (1 - 2 * share)
    return replace(shot, kind=kind)


def test_a_shaded_side_goes_with_the_rest_of_its_grain(painter: "Painter") -> None:
    shot = shaded(painter)
    kinds = kinds_by_grain(shot, [LENTIL, RICE])
    inside = painter.discs(PLACES, RADIUS_PX - 1) == 1
    assert shot.kind[inside].mean() > 0.2
    assert not kinds[inside].any()
    assert kinds.shape == shot.kind.shape


def test_it_is_counted_once_with_its_whole_area(painter: "Painter") -> None:
    found = find_grains(shaded(painter), [LENTIL, RICE])
    assert found.kind.tolist() == [0] * 4
    np.testing.assert_allclose(found.area_px, np.pi * RADIUS_PX**2, rtol=0.05)


def test_the_larger_part_decides(painter: "Painter") -> None:
    assert find_grains(shaded(painter, share=0.65), [LENTIL, RICE]).kind.tolist() == [1] * 4


def test_touching_grains_of_two_kinds_keep_their_own(painter: "Painter") -> None:
    pair = np.array([[100.0, 100.0], [116.0, 100.0]])
    kind = np.zeros(painter.shape, np.uint8)
    kind[:, 108:] = 1
    shot = replace(painter.shot_of(painter.discs(pair, RADIUS_PX)), kind=kind)
    found = find_grains(shot, [LENTIL, RICE])
    assert found.kind.tolist() == [0, 1]
    np.testing.assert_allclose(found.x_px, pair[:, 0], atol=0.5)
    assert len(set(found.clump.tolist())) == 2


@pytest.mark.parametrize("kinds", [[LENTIL], [LENTIL, KindHint(np.full(3, 0.6), (2.0, 3.0))]], ids=["one", "fine"])
def test_one_kind_and_fine_ones_are_left_as_they_are(painter: "Painter", kinds: list[KindHint]) -> None:
    """Grains of a few pixels have no side to tell from the rest."""
    shot = shaded(painter)
    np.testing.assert_array_equal(kinds_by_grain(shot, kinds), shot.kind)


def test_floor_keeps_what_each_pixel_is_likeliest(painter: "Painter") -> None:
    shot = shaded(painter)
    kind = shot.kind.copy()
    kind[220:, 220:] = 1
    changed = kinds_by_grain(replace(shot, kind=kind), [LENTIL, RICE])
    np.testing.assert_array_equal(changed[220:, 220:], 1)
    nowhere = kinds_by_grain(painter.shot_of(np.zeros(painter.shape, np.float32)), [LENTIL, RICE])
    assert not nowhere.any()
