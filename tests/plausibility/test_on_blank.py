"""Light grains that lie on the blank, on a darker floor, and are gone at the end: discs on a made-up floor."""

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from debriscount.cover.colours import LearnedColour
from debriscount.cover.kinds import KindHint
from debriscount.flags import Flag
from debriscount.grains.find import FoundGrains
from debriscount.plausibility.on_blank import gone_flags
from debriscount.plausibility.standing_out import LogViews

SHAPE = (300, 400)
ALL = np.ones(SHAPE, bool)
FLOOR, RICE = np.array([0.25, 0.2, 0.14]), np.array([0.7, 0.66, 0.55])
HINT = KindHint(RICE, (8.0, 14.0))
COLOUR = LearnedColour(RICE, np.eye(3) * 1e-3, (0.0, 0.0), 100)
LATTICE = [(x, y) for x in range(20, 390, 30) for y in range(20, 290, 30)]
Things = list[tuple[int, int]]


def view(seed: int, things: Things, colour: NDArray[np.float64] = RICE) -> NDArray[np.float32]:
    light = np.tile(FLOOR, (*SHAPE, 1))
    for place in things:
        cv2.circle(light, place, 6, tuple(float(v) for v in colour), -1)
    return (light * np.random.default_rng(seed).normal(1, 0.02, (*SHAPE, 1))).astype(np.float32)


def found(things: Things) -> FoundGrains:
    mask = np.zeros(SHAPE, np.uint8)
    for place in things:
        cv2.circle(mask, place, 6, (1,), -1)
    none = np.zeros(0)
    return FoundGrains(
        none.astype(np.int16), none, none, none, none, none.astype(np.int32), mask, mask.astype(np.int32)
    )


def flags_of(blank: NDArray[np.float32], before: NDArray[np.float32], left: Things) -> list[Flag]:
    views = {"blank": blank, "before": before, "after": view(3, left)}
    debris = {"blank": found([]), "before": found(LATTICE), "after": found(left)}
    return gone_flags(LogViews(views, HINT.size_px[1]), ALL, debris, [HINT], [COLOUR])


def test_a_clean_blank_is_nothing_however_much_went() -> None:
    assert flags_of(view(1, []), view(2, LATTICE), []) == []
    assert flags_of(view(1, []), view(2, LATTICE), LATTICE[:60]) == []


@pytest.mark.parametrize("lying", [12, 60])
def test_grains_on_the_blank_that_later_went_are_told(lying: int) -> None:
    (flag,) = flags_of(view(1, LATTICE[:lying]), view(2, LATTICE), [])
    assert (flag.code, flag.severity, flag.shot) == ("debris-on-blank", "unfit", "blank")
    assert flag.sentence.startswith(f"{lying} things of the debris' colour lie on the blank as in before")


def test_stains_that_were_wiped_off_are_no_debris() -> None:
    stains = LATTICE[:60]
    assert flags_of(view(1, stains, 0.5 * FLOOR), view(2, stains, 0.5 * FLOOR), []) == []


def test_among_leftovers_that_shade_the_floor_gone_grains_are_told_and_shade_is_not() -> None:
    left = [(x + 15, y) for x, y in LATTICE]
    shade = view(3, left)
    for x, y in left:
        shade[y - 8 : y + 9, x + 6 : x + 13] *= 0.8
    debris = {"blank": found([]), "before": found(LATTICE), "after": found(left)}
    for lying, told in ((LATTICE[:40], ["debris-on-blank"]), ([], [])):
        views = {"blank": view(1, lying), "before": view(2, LATTICE), "after": shade}
        assert [
            flag.code for flag in gone_flags(LogViews(views, HINT.size_px[1]), ALL, debris, [HINT], [COLOUR])
        ] == told
