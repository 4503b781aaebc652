"""Discs of several colours on a made-up floor, some of them named."""

import re

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from debriscount.cover.colours import LearnedColour
from debriscount.cover.kinds import KindHint
from debriscount.flags import Flag
from debriscount.grains.find import FoundGrains
from debriscount.plausibility.standing_out import LogViews
from debriscount.plausibility.unnamed import unnamed_flags

SHAPE = (300, 400)
ALL = np.ones(SHAPE, bool)
ORANGE, WHITE = np.array([0.6, 0.13, 0.03]), np.array([0.7, 0.66, 0.55])
HINT = KindHint(ORANGE, (10.0, 14.0))
NAMED = LearnedColour(ORANGE, np.eye(3) * 1e-3, (0.0, 0.0), 100)
LATTICE = [(x, y) for x in range(20, 390, 30) for y in range(20, 290, 30)]


def view(seed: int, *things: tuple[tuple[int, int], NDArray[np.float64]]) -> NDArray[np.float32]:
    light = np.tile(np.array([0.25, 0.18, 0.1]), (*SHAPE, 1))
    for place, colour in things:
        cv2.circle(light, place, 6, tuple(float(v) for v in colour), -1)
    return (light * np.random.default_rng(seed).normal(1, 0.02, (*SHAPE, 1))).astype(np.float32)


def found(*places: tuple[int, int]) -> FoundGrains:
    mask = np.zeros(SHAPE, np.uint8)
    for place in places:
        cv2.circle(mask, place, 6, (1,), -1)
    none = np.zeros(0)
    return FoundGrains(
        none.astype(np.int16), none, none, none, none, none.astype(np.int32), mask, mask.astype(np.int32)
    )


def flags_of(*others: tuple[tuple[int, int], NDArray[np.float64]]) -> list[Flag]:
    named = LATTICE[:40]
    views = {"before": view(1, *((place, ORANGE) for place in named), *others), "after": view(2)}
    return unnamed_flags(
        LogViews(views, HINT.size_px[1]), ALL, {"before": found(*named), "after": found()}, [HINT], [NAMED]
    )


def test_debris_that_a_file_names_and_what_of_it_was_overlooked_are_no_other() -> None:
    assert flags_of() == []
    assert flags_of(*((place, 0.8 * ORANGE) for place in LATTICE[40:60])) == []


def test_shade_of_the_floor_is_no_debris() -> None:
    assert flags_of(*((place, 0.5 * np.array([0.25, 0.18, 0.1])) for place in LATTICE[40:80])) == []


def test_debris_of_another_colour_is_told_with_its_colour_and_share() -> None:
    (few,) = flags_of(*((place, WHITE) for place in LATTICE[40:46]))
    (many,) = flags_of(*((place, WHITE) for place in LATTICE[40:80]))
    assert (few.code, few.severity, many.severity) == ("unnamed-debris", "doubtful", "unfit")
    # sRGB of the linear colour by hand: 0.7, 0.66 and 0.55 are 218, 212 and 196.
    red, green, blue = (int(many.sentence.split("#")[1][i : i + 2], 16) for i in (0, 2, 4))
    np.testing.assert_allclose((red, green, blue), (218, 212, 196), atol=4)


def test_of_grains_too_small_for_an_outline_nothing_is_said() -> None:
    small = KindHint(ORANGE, (2.0, 3.0))
    views = {"before": view(1, *((place, WHITE) for place in LATTICE)), "after": view(2)}
    assert (
        unnamed_flags(LogViews(views, HINT.size_px[1]), ALL, {"before": found(), "after": found()}, [small], [NAMED])
        == []
    )


@pytest.mark.parametrize("blank", [True, False])
def test_what_came_with_the_pass_is_told_in_its_own_colour(blank: bool) -> None:
    named = LATTICE[:40]
    blue = np.array([0.01, 0.05, 0.5])
    came = [(place, blue) for place in LATTICE[40:80]]
    views = {"blank": view(3)} if blank else {}
    views |= {"before": view(1, *((place, ORANGE) for place in named)), "after": view(2, *came)}
    lying = {name: found(*(named if name == "before" else ())) for name in views}
    (flag,) = unnamed_flags(LogViews(views, HINT.size_px[1]), ALL, lying, [HINT], [NAMED])
    # sRGB of the linear colour by hand: 0.01, 0.05 and 0.5 are 25, 63 and 188.
    red, green, blue_level = (int(flag.sentence.split("#")[1][i : i + 2], 16) for i in (0, 2, 4))
    np.testing.assert_allclose((red, green, blue_level), (25, 63, 188), atol=4)
    assert re.search(r"that no debris file names came or went, \d+ % as much as the debris named", flag.sentence)
