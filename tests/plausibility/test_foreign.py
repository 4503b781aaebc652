"""Things painted into made-up floor views: rough floor, discs for grains, bars and blots for what is foreign."""

import re

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from debriscount.cover.colours import LearnedColour
from debriscount.cover.kinds import KindHint
from debriscount.cover.maps import CoverMaps
from debriscount.flags import Flag
from debriscount.grains.find import FoundGrains
from debriscount.plausibility.foreign import (
    ForeignThing,
    cell_views,
    foreign_things,
    long_things,
    of_kind_colour,
    solid_things,
)

SHAPE = (360, 480)
ALL = np.ones(SHAPE, bool)
HINT = KindHint(np.array([0.5, 0.05, 0.01]), (8.0, 12.0))
COLOUR = LearnedColour(HINT.colour, np.eye(3) * 1e-3, (0.0, 0.0), 100)
FLOOR = np.full((*SHAPE, 3), 0.3, np.float32) + np.array([0.05, 0, -0.05], np.float32)
GRAINS = [(x, y) for x in range(20, 470, 28) for y in range(20, 350, 28)]


def shot(grains: list[tuple[int, int]], seed: int, light: float = 1.0) -> tuple[NDArray[np.float32], FoundGrains]:
    """The same rough floor with grains on it, noise of its own, light that falls off to one side."""
    floor = 0.3 + 0.03 * np.random.default_rng(0).normal(size=(*SHAPE, 1)) + np.array([0.05, 0, -0.05])
    mask = np.zeros(SHAPE, np.uint8)
    for place in grains:
        cv2.circle(mask, place, 5, (1,), -1)
    view = np.where(mask[..., None] > 0, HINT.colour, floor) + np.random.default_rng(seed).normal(0, 0.01, (*SHAPE, 3))
    view *= light * np.linspace(1, 0.8, SHAPE[1])[:, None] ** (seed - 2)
    none = np.zeros(0)
    return view.astype(np.float32), FoundGrains(
        none.astype(np.int16), none, none, none, none, none.astype(np.int32), mask, mask.astype(np.int32)
    )


def run(*names: str) -> tuple[dict[str, NDArray[np.float32]], dict[str, FoundGrains]]:
    lie = {"blank": [], "before": GRAINS, "after": GRAINS[:20]}
    shots = {name: shot(lie[name], k + 1, 1 + 0.1 * k) for k, name in enumerate(names)}
    return {n: s[0] for n, s in shots.items()}, {n: s[1] for n, s in shots.items()}


def things_of(
    views: dict[str, NDArray[np.float32]], found: dict[str, FoundGrains], patch: NDArray[np.bool_] = ALL
) -> list[ForeignThing]:
    maps = CoverMaps(FLOOR, views, (COLOUR,), {}, (0.0,))
    return foreign_things(cell_views(views, [HINT], 0.5), maps, ALL, patch, found, [HINT], 0.5)


def flags_of(views: dict[str, NDArray[np.float32]], found: dict[str, FoundGrains]) -> list[Flag]:
    return [t.flag for t in things_of(views, found)]


@pytest.mark.parametrize("names", [("blank", "before", "after"), ("before", "after")])
def test_grains_that_went_and_light_that_changed_are_nothing_foreign(names: tuple[str, ...]) -> None:
    views, found = run(*names)
    assert flags_of(views, found) == []


@pytest.mark.parametrize("factor", [0.15, 0.7, 1.8])
@pytest.mark.parametrize("name", ["blank", "before", "after"])
def test_a_large_thing_in_one_shot_is_told_with_its_place(name: str, factor: float) -> None:
    views, found = run("blank", "before", "after")
    views[name][150:230, 300:400] *= factor
    found[name].kind_map[150:230, 300:400] = 0
    for one in found.values():  # no debris below, so that all of it is seen
        one.kind_map[150:230, 300:400] = 0
    flags = flags_of(views, found)
    assert [(flag.code, flag.severity, flag.shot) for flag in flags] == [("foreign-thing", "doubtful", name)]
    assert re.search(r"about 17[4-6] mm right and 9[4-6] mm down", flags[0].sentence)


def test_a_cable_of_the_debris_colour_is_told_and_a_row_of_grains_is_not() -> None:
    views, found = run("blank", "before", "after")
    row = np.zeros(SHAPE, np.uint8)
    for x in range(10, 470, 11):
        cv2.circle(row, (x, 300), 5, (1,), -1)
    assert not solid_things(row > 0, ~ALL, 12.0).any()
    cable = cv2.line(np.zeros(SHAPE, np.uint8), (10, 300), (470, 320), (1,), 13) > 0
    assert solid_things(cable, ~ALL, 12.0).any()
    assert not solid_things(cable, cable, 12.0).any()
    found["after"].kind_map[cable] = 1
    (flag,) = flags_of(views, found)
    assert (flag.code, flag.severity, flag.shot) == ("solid-thing", "doubtful", "after")


def test_a_cable_in_any_shot_is_longer_than_grains_and_a_row_of_grains_is_not() -> None:
    curve = np.array([(x, int(150 + 40 * np.sin(x / 60))) for x in range(40, 440)], np.int32)
    cable = np.zeros(SHAPE, np.uint8)
    cv2.polylines(cable, [curve], False, (1,), 7)
    row = np.zeros(SHAPE, np.uint8)
    for x, y in curve[::11]:  # nearly two radii apart: they touch
        cv2.circle(row, (int(x), int(y)), 6, (1,), -1)
    heap = np.zeros(SHAPE, np.uint8)
    cv2.circle(heap, (240, 180), 120, (1,), -1)
    assert long_things(cable > 0, 12.0).sum() == cable.sum()
    assert not long_things(row > 0, 12.0).any()
    assert not long_things(heap > 0, 12.0).any()
    views, found = run("blank", "before", "after")
    found["before"].kind_map[cable > 0] = 1
    flags = flags_of(views, found)
    assert ("solid-thing", "doubtful", "before") in [(f.code, f.severity, f.shot) for f in flags]


def test_a_dark_thing_that_was_taken_for_debris_is_told_by_its_colour_and_masked_with_what_it_hides() -> None:
    views, found = run("blank", "before", "after")
    thing = cv2.line(np.zeros(SHAPE, np.uint8), (10, 180), (470, 200), (1,), 16) > 0
    views["before"][thing] = 0.03
    found["before"].kind_map[thing] = 1
    (one,) = things_of(views, found)
    assert (one.flag.code, one.flag.shot) == ("foreign-thing", "before")
    assert one.mask[thing].mean() > 0.9
    assert one.mask.mean() < 3 * thing.mean()


def test_a_thing_across_the_patchs_border_is_masked_in_the_margin_as_well() -> None:
    views, found = run("blank", "before", "after")
    views["after"][100:360, 200:260] *= 0.3
    patch = ALL.copy()
    patch[250:] = False
    (one,) = things_of(views, found, patch)
    assert one.mask[100:360, 200:260].all()


def test_a_grain_keeps_its_colour_in_its_own_shade_and_a_thing_of_another_does_not_have_it() -> None:
    view = np.tile(HINT.colour, (9, 9, 1)).astype(np.float32)
    floor, every = FLOOR[:9, :9], np.ones((9, 9), bool)
    assert of_kind_colour(0.6 * view, floor, [HINT.colour], every).all()
    assert of_kind_colour(0.6 * view + 0.4 * floor, floor, [HINT.colour], every).all()
    assert not of_kind_colour(0.6 * view[..., ::-1].copy(), floor, [HINT.colour], every).any()
    assert not of_kind_colour(view, floor, [], every).any()
