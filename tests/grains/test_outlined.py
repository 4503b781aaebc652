"""Grains with an outline: how many of them, where their outline runs, and what is none."""

from dataclasses import replace
from typing import TYPE_CHECKING

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from debriscount.cover.kinds import KindHint
from debriscount.cover.maps import ShotCover
from debriscount.grains.labelled import Labelled, sum_grains
from debriscount.grains.outlined import PATTERNED_PX, least_area_px, outlined_grains

if TYPE_CHECKING:
    from tests.grains.conftest import Painter

#: Middle of the view, px.
MIDDLE = np.array([110.0, 90.0])
SHAPE = (180, 220)
#: Grains with and without a pattern to be seen within them. Below 8 px pairs at a touch are beyond the raster.
DIAMETERS = [8.0, 12.0, 17.0, 26.0]

#: As many as a few seconds allow, however busy the machine.
several = settings(max_examples=40)
#: Anywhere within a pixel.
offsets = st.tuples(st.floats(-0.5, 0.5), st.floats(-0.5, 0.5))
headings = st.floats(0, 2 * np.pi)
#: Distance of touching neighbours in diameters: from touching to a tenth of open floor.
gaps = st.floats(1.0, 1.1)


def found(shot: ShotCover, diameter_px: float, spread: float = 0.0) -> Labelled:
    """Grains of a kind of which 5 and 95 % lie a tenth to either side of a diameter."""
    kind = KindHint(np.full(3, 0.5), (0.9 * diameter_px, 1.1 * diameter_px))
    return outlined_grains(shot.cover, shot, kind, spread)


def count(shot: ShotCover, diameter_px: float, spread: float = 0.0) -> int:
    return len(sum_grains(found(shot, diameter_px, spread)).area_px)


def direction(heading: float) -> NDArray[np.float64]:
    return np.array([np.cos(heading), np.sin(heading)])


@pytest.mark.parametrize("diameter_px", DIAMETERS)
@several
@given(offset=offsets, heading=headings, gap=gaps)
def test_two_discs_that_touch_are_two(
    painter: "Painter", diameter_px: float, offset: tuple[float, float], heading: float, gap: float
) -> None:
    away = 0.5 * gap * diameter_px * direction(heading)
    places = np.array([MIDDLE - away, MIDDLE + away]) + offset
    assert count(painter.shot_of(painter.discs(places, diameter_px / 2, SHAPE)), diameter_px) == 2


@pytest.mark.parametrize("diameter_px", DIAMETERS)
@several
@given(offset=offsets, heading=headings, gap=gaps, bends=st.lists(st.floats(-0.8, 0.8), min_size=3, max_size=3))
def test_a_chain_is_as_many_as_its_links(
    painter: "Painter", diameter_px: float, offset: tuple[float, float], heading: float, gap: float, bends: list[float]
) -> None:
    steps = [gap * diameter_px * direction(heading + turn) for turn in np.cumsum([0.0, *bends])]
    links = np.cumsum([np.zeros(2), *steps], axis=0)
    places = links - links.mean(axis=0) + MIDDLE + offset
    assert count(painter.shot_of(painter.discs(places, diameter_px / 2, SHAPE)), diameter_px) == 5


@pytest.mark.parametrize("diameter_px", DIAMETERS)
@several
@given(offset=offsets, heading=headings, gap=gaps)
def test_a_clump_of_seven_is_seven(
    painter: "Painter", diameter_px: float, offset: tuple[float, float], heading: float, gap: float
) -> None:
    ring = [gap * diameter_px * direction(heading + k * np.pi / 3) for k in range(6)]
    places = np.array([np.zeros(2), *ring]) + MIDDLE + offset
    assert count(painter.shot_of(painter.discs(places, diameter_px / 2, SHAPE)), diameter_px) == 7


@pytest.mark.parametrize("diameter_px", DIAMETERS)
@several
@given(offset=offsets, turn_deg=st.floats(0, 180))
def test_a_grain_three_times_as_long_as_wide_is_one(
    painter: "Painter", diameter_px: float, offset: tuple[float, float], turn_deg: float
) -> None:
    """Diameter is that of the circle with the grain's area."""
    long, short = diameter_px * np.sqrt(3), diameter_px / np.sqrt(3)
    cover = painter.ellipses((MIDDLE + offset)[None], long, short, turn_deg, SHAPE)
    assert count(painter.shot_of(cover), diameter_px) == 1


@pytest.mark.parametrize("diameter_px", DIAMETERS)
@several
@given(offset=offsets, heading=headings, overlap=st.floats(0, 0.5))
def test_discs_of_which_one_lies_far_over_the_other_are_one(
    painter: "Painter", diameter_px: float, offset: tuple[float, float], heading: float, overlap: float
) -> None:
    """Centres up to a radius apart: the neck is at least 0.87 of the width (Pythagoras), which is none."""
    places = np.array([MIDDLE, MIDDLE + overlap * diameter_px * direction(heading)]) + offset
    assert count(painter.shot_of(painter.discs(places, diameter_px / 2, SHAPE)), diameter_px) == 1


def speckled(shape: tuple[int, int], spread: float, seed: int) -> NDArray[np.float32]:
    """Cover of a grain's own pattern, 1 on average: blots of 2 px."""
    noise = cv2.GaussianBlur(np.random.default_rng(seed).standard_normal(shape).astype(np.float32), (0, 0), 2.0)
    return np.asarray(1 + spread * noise / noise.std(), np.float32)


@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize("diameter_px", [24.0, 40.0, 60.0])
def test_a_speckled_large_grain_is_one(painter: "Painter", diameter_px: float, seed: int) -> None:
    """A quarter of full cover to either side: half the level alone would leave holes and islands."""
    disc = painter.discs(MIDDLE[None], diameter_px / 2, SHAPE)
    shot = painter.shot_of(disc * speckled(SHAPE, 0.25, seed))
    grain = sum_grains(found(shot, diameter_px, 0.25))
    assert len(grain.area_px) == 1
    assert grain.area_px[0] == pytest.approx(np.pi / 4 * diameter_px**2, rel=0.1)


@pytest.mark.parametrize("gap_px", [1.5, 2.5])
@pytest.mark.parametrize("diameter_px", [17.0, 36.0])
@several
@given(offset=offsets, heading=headings)
def test_a_narrow_gap_between_large_grains_stays_open(
    painter: "Painter", diameter_px: float, gap_px: float, offset: tuple[float, float], heading: float
) -> None:
    """Blur of 0.7 px fills a gap of 1.5 px to 0.28; drawn or not, it is no part of the grains' area."""
    away = 0.5 * (diameter_px + gap_px) * direction(heading)
    places = np.array([MIDDLE - away, MIDDLE + away]) + offset
    both = sum_grains(found(painter.shot_of(painter.discs(places, diameter_px / 2, SHAPE)), diameter_px))
    assert len(both.area_px) == 2
    assert both.area_px.sum() == pytest.approx(2 * np.pi / 4 * diameter_px**2, rel=0.03)


def test_a_gap_that_blur_and_shade_fill_halfway_parts_grains(painter: "Painter") -> None:
    """Two halves of a block, the gap between them at 0.55 of full cover, which is more than half."""
    block = np.zeros(SHAPE, np.float32)
    block[60:90, 60:89] = block[60:90, 91:120] = 1
    block[60:90, 89:91] = 0.4
    shot = painter.shot_of(block)
    assert shot.cover[75, 89:91].mean() > 0.5
    assert count(shot, 33.0) == 2


def test_grains_of_unlike_levels_have_an_outline_at_half_of_their_own(painter: "Painter") -> None:
    places = np.array([[50.0, 90.0], [110.0, 90.0], [170.0, 90.0]])
    levels = [1.0, 0.8, 0.6]
    cover = sum(level * painter.discs(place[None], 7.0, SHAPE) for place, level in zip(places, levels, strict=True))
    grains = sum_grains(found(painter.shot_of(np.asarray(cover, np.float32)), 14.0))
    np.testing.assert_allclose(grains.area_px, np.pi * 49, rtol=0.05)


def test_gloss_that_is_no_more_like_the_kind_than_floor_belongs_to_the_grain(painter: "Painter") -> None:
    """A highlight of a quarter of the grain has no cover at all, but floor never looks like it."""
    disc = painter.discs(MIDDLE[None], 20.0, SHAPE)
    gloss = painter.discs(MIDDLE[None] + 8, 9.0, SHAPE)
    plain, dull = painter.shot_of(disc), painter.shot_of(disc * (1 - gloss))
    grain = sum_grains(found(replace(dull, apart=plain.apart), 40.0))
    assert grain.area_px == pytest.approx([np.pi * 400], rel=0.03)
    alone = sum_grains(found(dull, 40.0))
    assert alone.area_px.sum() < 0.9 * np.pi * 400


def test_small_holes_are_closed_and_large_ones_stay(painter: "Painter") -> None:
    """A hole of 4 px is 1 % of the grain's area, one of 12 px is 9 %."""
    disc = painter.discs(MIDDLE[None], 20.0, SHAPE)
    for diameter, lost in ((4.0, 0.0), (12.0, np.pi * 36)):
        shot = painter.shot_of(disc * (1 - painter.discs(MIDDLE[None], diameter / 2, SHAPE)))
        assert sum_grains(found(shot, 40.0)).area_px == pytest.approx([np.pi * 400 - lost], rel=0.01)


def test_the_tighter_limit_takes_a_rim_off(painter: "Painter") -> None:
    """A tenth of full cover: about a fifth of a pixel all round on an edge blurred by 0.7 px."""
    grains = sum_grains(found(painter.shot_of(painter.discs(MIDDLE[None], 10.0, SHAPE)), 20.0))
    rim = float(grains.area_px[0] - grains.tight_px[0])
    assert rim == pytest.approx(2 * np.pi * 10 * 0.2, rel=0.3)


@pytest.mark.parametrize("diameter_px", [12.0, 30.0])
def test_the_least_area_is_a_third_of_a_small_grain(painter: "Painter", diameter_px: float) -> None:
    kind = KindHint(np.full(3, 0.5), (0.9 * diameter_px, 1.1 * diameter_px))
    least = least_area_px(kind)
    assert least == pytest.approx(0.33 * np.pi / 4 * (0.9 * diameter_px) ** 2)
    for factor, there in ((0.6, 0), (1.6, 1)):
        cover = painter.discs(MIDDLE[None], np.sqrt(factor * least / np.pi), SHAPE)
        assert count(painter.shot_of(cover), diameter_px) == there


def test_what_shaded_floor_may_look_like_is_none(painter: "Painter") -> None:
    shot = painter.shot_of(0.7 * painter.discs(MIDDLE[None], 7.0, SHAPE))
    assert count(shot, 14.0) == 1
    assert count(replace(shot, apart=np.minimum(shot.apart, 2.0)), 14.0) == 0


def test_no_cover_no_grains(painter: "Painter") -> None:
    for diameter_px in (8.0, PATTERNED_PX + 4):
        nothing = found(painter.shot_of(np.zeros(SHAPE, np.float32)), diameter_px)
        assert not nothing.mask.any()
        assert not nothing.labels.any()


@pytest.mark.parametrize(("usual_apart", "count"), [(np.inf, 0), (30.0, 0), (3.0, 1)])
def test_a_kind_that_is_nearly_as_dark_as_shade_is_held_against_itself(
    painter: "Painter", usual_apart: float, count: int
) -> None:
    shot = painter.shot_of(painter.discs(MIDDLE[None], 8.0, SHAPE))
    near = replace(shot, apart=np.where(shot.cover > 0.5, np.float32(2), np.float32(0)))
    kind = KindHint(np.full(3, 0.5), (15.0, 17.0))
    labelled = outlined_grains(near.cover, near, kind, 0.0, usual_apart)
    assert len(sum_grains(labelled).area_px) == count
