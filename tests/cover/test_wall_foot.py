import numpy as np
import pytest
from numpy.typing import NDArray

from debriscount.cover.kinds import KindHint
from debriscount.cover.wall_foot import wall_foot

SHAPE = (80, 120)
WALL = 10
KIND = KindHint(np.full(3, 0.6), (2.0, 3.0))
SHOWN = np.ones(SHAPE, bool)
USABLE = np.arange(SHAPE[0])[:, None] >= np.full(SHAPE[1], WALL)


def found(rows: slice, columns: slice, turned: bool = False) -> NDArray[np.bool_]:
    cover = np.zeros(SHAPE, np.float32)
    cover[rows, columns] = 1
    shots, shown, usable = [np.zeros(SHAPE, np.float32), cover], SHOWN, USABLE
    if turned:
        return wall_foot([c.T for c in shots], [KIND], shown.T, usable.T).T
    return wall_foot(shots, [KIND], shown, usable)


@pytest.mark.parametrize("turned", [False, True])
def test_an_unbroken_row_along_a_wall_is_its_foot(turned: bool) -> None:
    foot = found(slice(WALL + 2, WALL + 4), slice(20, 60), turned)
    assert foot[WALL + 2 : WALL + 4, 20:60].all()
    assert not foot[WALL + 6 :].any()


def test_dashes_on_the_very_line_of_the_foot_are_it_too() -> None:
    assert found(slice(WALL, WALL + 1), slice(20, 80, 4))[WALL, 20:77].all()


def test_grains_in_a_row_in_front_of_the_wall_stay() -> None:
    assert not found(slice(WALL + 2, WALL + 4), slice(20, 80, 4)).any()
    assert not found(slice(WALL + 20, WALL + 22), slice(20, 60)).any()


def test_a_short_row_may_be_grains() -> None:
    assert not found(slice(WALL, WALL + 2), slice(20, 30)).any()


def test_without_a_wall_there_is_no_foot() -> None:
    assert not wall_foot([np.ones(SHAPE, np.float32)], [KIND], SHOWN, SHOWN).any()
