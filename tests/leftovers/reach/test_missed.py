from typing import Any

import numpy as np
import pytest
from skimage.draw import polygon2mask

from debriscount.layout.lay_patch import lay_patch
from debriscount.leftovers.reach.find import find_reach
from debriscount.leftovers.reach.missed import find_missed
from debriscount.leftovers.records import Lanes, MissedPlace, Strip

from ..conftest import learned
from .strewn import Bools, Floats, fates_of, left, strewn

OPEN_FLOOR = lay_patch(600, 400)


def missed(x: Floats, y: Floats, reached: Bools, lanes: Lanes | None = None, stays: float = 0.08) -> Any:
    fates = fates_of(x, y, left(reached, stays, 31))
    # What was taken is not there any more.
    later = fates.only(np.ones(len(x), bool), fates.untouched > 0)
    survival = learned(fates, OPEN_FLOOR)
    assert survival is not None
    return find_missed(survival, later, OPEN_FLOOR, find_reach(survival, fates, OPEN_FLOOR, {}), lanes), later


def lanes_of(*widths: float) -> Lanes:
    places = 60.0 + 90.0 * np.arange(len(widths))
    strips = tuple(
        Strip(
            ends_mm=((0.0, float(y)), (600.0, float(y))),
            width_mm=width,
            width_u_mm=0.5,
            straight_mm=0.3,
            share_percent=10.0,
        )
        for y, width in zip(places, widths, strict=True)
    )
    return Lanes(
        heading_deg=0.0,
        heading_u_deg=0.1,
        pitch_mm=90.0,
        pitch_u_mm=0.5,
        strip_mm=10.0,
        strip_u_mm=0.5,
        lanes=len(widths) + 1,
        straight_mm=0.3,
        strips=strips,
        share_percent=50.0,
    )


def area(place: MissedPlace) -> float:
    """Outside check: the outline painted on a raster of half millimetres."""
    corners = 2 * np.array(place.polygon_mm)[:, ::-1]
    return float(polygon2mask((801, 1201), corners).sum()) / 4  # type: ignore[no-untyped-call]


def test_an_island_is_outlined_with_what_it_holds() -> None:
    x, y = strewn(2500, OPEN_FLOOR, 1)
    away = np.hypot(x - 350, y - 220) < 60
    places, fates = missed(x, y, ~away)
    assert len(places) == 1
    island = places[0]
    assert island.what == "place"
    assert island.area_mm2 == pytest.approx(np.pi * 60**2, rel=0.15)
    assert island.area_mm2 == pytest.approx(area(island), rel=0.03)
    corners = np.array(island.polygon_mm)
    # Half the distance between grains, 10 mm, and a cell of the map.
    assert (corners.min(axis=0) + corners.max(axis=0)) / 2 == pytest.approx([350, 220], abs=8)
    truly = 5.0 * away.sum()
    assert island.left_mm2 == pytest.approx(truly, rel=0.1)
    assert island.share_percent == pytest.approx(100 * truly / fates.later.area_mm2.sum(), rel=0.1)


def test_a_machine_that_goes_everywhere_misses_no_place() -> None:
    for seed in range(6):
        x, y = strewn(1200, OPEN_FLOOR, seed)
        places, _ = missed(x, y, np.ones(1200, bool), stays=0.2)
        assert places == ()


def test_outlines_stay_in_the_patch() -> None:
    x, y = strewn(5000, OPEN_FLOOR, 5)
    places, _ = missed(x, y, (x > 90) | (y > 80))
    assert len(places) == 1
    corners = np.array(places[0].polygon_mm)
    assert corners.min() >= 0
    assert (corners.max(axis=0) <= (600, 400)).all()
    # The map's cells, half the distance between grains, may end before the border where debris is thin.
    assert corners.min(axis=0) == pytest.approx([0, 0], abs=5)
    assert places[0].area_mm2 == pytest.approx(90 * 80, rel=0.15)


def test_strips_are_places_of_their_own_and_not_found_again() -> None:
    x, y = strewn(3000, OPEN_FLOOR, 7)
    lanes = lanes_of(14.0, 14.5, 13.5)
    across = np.abs(y - (60 + 90 * np.clip(np.round((y - 60) / 90), 0, 2)))
    island = (np.abs(x - 300) < 40) & (np.abs(y - 350) < 30)
    places, fates = missed(x, y, (across > 7) & ~island, lanes)
    assert sorted(place.what for place in places) == ["place", "strip", "strip", "strip"]
    assert [place.left_mm2 for place in places] == sorted((place.left_mm2 for place in places), reverse=True)
    assert sorted(place.area_mm2 for place in places if place.what == "strip") == pytest.approx([8100, 8400, 8700])
    assert sum(place.share_percent for place in places) <= 100
    assert sum(place.left_mm2 for place in places) == pytest.approx(5.0 * np.sum((across <= 7) | island), rel=0.12)
    assert fates.later.area_mm2.sum() > 0


@pytest.mark.parametrize(
    ("widths", "wide"),
    [
        ((10.0, 10.5, 9.5, 38.0), [38.0]),
        ((10.0, 12.0, 8.0, 14.0), []),
        ((10.0, 38.0), []),
        ((10.0, 10.2, 9.8, 11.0), []),
    ],
)
def test_a_strip_is_wide_beyond_what_the_others_scatter(widths: tuple[float, ...], wide: list[float]) -> None:
    x, y = strewn(800, OPEN_FLOOR, 3)
    places, _ = missed(x, y, np.ones(800, bool), lanes_of(*widths))
    assert [place.area_mm2 / 600 for place in places if place.what == "wide"] == pytest.approx(wide, rel=1e-3)


def test_a_strip_outside_the_patch_is_no_place() -> None:
    x, y = strewn(800, OPEN_FLOOR, 3)
    strip = Strip(
        ends_mm=((0.0, -90.0), (600.0, -90.0)), width_mm=10.0, width_u_mm=0.5, straight_mm=None, share_percent=1.0
    )
    outside = Lanes(
        heading_deg=0.0,
        heading_u_deg=0.1,
        pitch_mm=None,
        pitch_u_mm=None,
        strip_mm=10.0,
        strip_u_mm=0.5,
        lanes=2,
        straight_mm=None,
        strips=(strip,),
        share_percent=1.0,
    )
    assert missed(x, y, np.ones(800, bool), outside)[0] == ()


def test_places_where_the_lanes_end_are_told_from_others() -> None:
    x, y = strewn(2500, OPEN_FLOOR, 7)
    lanes = lanes_of(14.0, 14.5, 13.5)
    turn, inner = (x > 520) & (np.abs(y - 200) < 30), (np.abs(x - 300) < 40) & (y > 330)
    across = np.abs(y - (60 + 90 * np.clip(np.round((y - 60) / 90), 0, 2)))
    places, _ = missed(x, y, (across > 7) & ~turn & ~inner, lanes)
    told = {
        place.at_turns for place in places if place.what == "place" and np.array(place.polygon_mm)[:, 0].max() > 500
    }
    assert told == {True}
    told = {
        place.at_turns for place in places if place.what == "place" and np.array(place.polygon_mm)[:, 0].max() < 500
    }
    assert told == {False}
    assert {place.at_turns for place in missed(x, y, ~turn)[0]} == {None}
