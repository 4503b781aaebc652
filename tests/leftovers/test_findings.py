import re
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from debriscount.leftovers.findings import findings
from debriscount.leftovers.records import (
    CornerReach,
    Explanation,
    Lanes,
    Leftovers,
    LeftShares,
    LocalPickup,
    MissedPlace,
    PassStep,
    Reach,
    ReachedShare,
    Scatter,
    Strip,
    WallPickup,
    WallProfile,
    Walls,
)
from debriscount.registration.grid import FloorGrid

SHARES = LeftShares(100.0, 81.0, 19.0, (79.0, 83.0))
LEFT = Leftovers(zones={"patch": SHARES}, kinds={}, least_shift_mm={}, chance_percent={}, matched={})
REACH = Reach(
    {"patch": ReachedShare(88.0, (86.0, 90.0), 98.0, (97.1, 98.6))},
    FloorGrid(0, 0, 5, 1, 1),
    np.ones((1, 1), np.float32),
    1.0,
)
STRIP = Strip(ends_mm=((0.0, 50.0), (600.0, 50.0)), width_mm=24.0, width_u_mm=1.0, straight_mm=1.5, share_percent=15.5)
LANES = Lanes(
    heading_deg=0.0,
    heading_u_deg=0.5,
    pitch_mm=150.0,
    pitch_u_mm=1.0,
    strip_mm=24.0,
    strip_u_mm=1.0,
    lanes=3,
    straight_mm=1.5,
    strips=(STRIP, STRIP),
    share_percent=31.0,
)
PLACE = MissedPlace(
    what="place",
    polygon_mm=((300.0, 200.0), (360.0, 200.0), (360.0, 280.0), (300.0, 280.0)),
    area_mm2=4800.0,
    left_mm2=12.0,
    share_percent=12.0,
)
WALL = WallProfile(
    wall="top",
    edges_mm=(0.0, 10.0, 20.0),
    before_mm2=(5.0, 5.0),
    untouched_mm2=(3.0, 1.0),
    shifted_mm2=(0.0, 0.0),
    gap_mm=22.0,
    gap_interval95=(19.5, 25.2),
    left_percent=64.0,
    beyond_percent=5.0,
    share_percent=21.0,
)
CORNER = CornerReach(("top", "left"), 60.0, (52.0, 68.0), 10.4)
NO_SCATTER = Scatter(
    margin_percent=None,
    margin_interval95=None,
    margin_sides={},
    bare_percent=None,
    direction_deg=None,
    strength=None,
    distance_mm=(),
    distance_percent=(),
    median_distance_mm=None,
    side=None,
)
SCATTER = Scatter(
    margin_percent=0.4,
    margin_interval95=(0.2, 0.6),
    margin_sides={"right": 80.0, "bottom": 20.0},
    bare_percent=3.0,
    direction_deg=40.0,
    strength=0.5,
    distance_mm=(5.0, 10.0),
    distance_percent=(60.0, 40.0),
    median_distance_mm=14.2,
    side="right",
)
NO_WALLS = Walls((), ())


def _said(found: tuple[Explanation, ...], what: str) -> list[str]:
    return [f.sentence for f in found if f.what == what]


def test_everything_is_said_and_what_explains_most_comes_first() -> None:
    found = findings(
        LEFT,
        REACH,
        LANES,
        (PLACE,),
        Walls((WALL,), (CORNER,)),
        SCATTER,
        PassStep(
            number=2,
            of_found_percent=60.0,
            of_found_interval95=None,
            together_percent=90.0,
            missed_again_percent=70.0,
            missed_again_by_chance_percent=12.0,
        ),
    )
    assert [f.sentence for f in found] == [
        # 12 (10 to 14) of 100 - 0.88 98 less the 0.4 in the margin: 13.36 percent left in the patch.
        "12 % (10 to 14 %) of the debris lay where the machine never went. That is at least 74 % of the leftovers.",
        "Between lanes 150 mm apart, 2 strips 24 mm (22 to 26 mm) wide were never reached. They hold 31 % of the leftovers.",
        "Along the top wall debris stayed up to 22 mm (20 to 25 mm) from the foot: 64 % of what lay there, "
        "against 5.0 % on open floor. That is 21 % of the leftovers.",
        "19 % (17 to 21 %) of the leftovers were moved but not picked up; half of what the pass moved lies 14 mm or more "
        "from where debris is missing.",
        "A place, about 60 x 80 mm around x = 330, y = 240 mm, was never reached. It holds 12 % of the leftovers.",
        "In the corner of the top and left walls debris stayed up to 60 mm (52 to 68 mm) from the corner. "
        "That is 10 % of the leftovers.",
        "Where the machine went it picked up 98.0 % (97.1 to 98.6 %); what it left there is at most 26 % of the leftovers.",
        "Debris was flung into the margin, most of it over the right side: 0.4 % (0.2 to 0.6 %) of all.",
        "3.0 % of all debris was moved to places that were bare.",
        "Moved debris lies mostly to the bottom right of where some is missing.",
        "Of the debris that pass 2 did not reach, 70 % lay where the pass before had not been either; by chance it "
        "would be 12 %.",
    ]
    shares = [f.share_percent for f in found]
    told = [share for share in shares if share is not None]
    assert told == sorted(told, reverse=True)
    assert shares[len(told) :] == [None] * (len(shares) - len(told))


def test_what_is_unknown_makes_no_sentence_or_a_plain_one() -> None:
    unknown = replace(LEFT, zones={"patch": LeftShares(100.0, None, None, None)})
    found = findings(unknown, None, None, (), NO_WALLS, NO_SCATTER)
    assert [f.sentence for f in found] == [
        "No lanes are seen in what stayed.",
        "Where the machine went cannot be told.",
        "How much of the leftovers was moved cannot be told.",
    ]


def test_nothing_left_is_said_alone_but_for_what_was_flung_out() -> None:
    clean = replace(LEFT, zones={"patch": LeftShares(0.0, None, None, None)})
    found = findings(clean, REACH, LANES, (PLACE,), Walls((WALL,), ()), SCATTER)
    assert [f.what for f in found] == ["nothing left", "flung"]


def test_one_strip_is_told_with_its_width_and_that_of_an_unknown_pitch() -> None:
    one = replace(LANES, strips=(STRIP,), pitch_mm=None, share_percent=15.5)
    (sentence,) = _said(findings(LEFT, REACH, one, (), NO_WALLS, NO_SCATTER), "strips")
    assert (
        sentence
        == "A strip 24 mm (22 to 26 mm) wide between two lanes was never reached. It holds 16 % of the leftovers."
    )
    two = replace(LANES, pitch_mm=None)
    (sentence,) = _said(findings(LEFT, REACH, two, (), NO_WALLS, NO_SCATTER), "strips")
    assert sentence.startswith("Between lanes, 2 strips 24 mm")


def test_missed_places_of_one_sort_are_told_together() -> None:
    small = MissedPlace(
        what="place", polygon_mm=((0.0, 0.0), (10.0, 0.0), (10.0, 10.0)), area_mm2=50.0, left_mm2=1.0, share_percent=3.0
    )
    (sentence,) = _said(findings(LEFT, REACH, LANES, (small, PLACE), NO_WALLS, NO_SCATTER), "missed place")
    assert sentence == (
        "2 places, the largest about 60 x 80 mm around x = 330, y = 240 mm, were never reached. They hold 15 % of the leftovers."
    )


def test_a_place_in_which_nothing_is_left_is_not_told() -> None:
    found = findings(LEFT, REACH, LANES, (replace(PLACE, share_percent=0.0),), NO_WALLS, NO_SCATTER)
    assert not _said(found, "missed place")


def test_missed_strips_are_told_only_where_the_lanes_do_not() -> None:
    strip = replace(PLACE, what="strip")
    assert not _said(findings(LEFT, REACH, LANES, (strip,), NO_WALLS, NO_SCATTER), "missed strip")
    assert len(_said(findings(LEFT, REACH, None, (strip,), NO_WALLS, NO_SCATTER), "missed strip")) == 1
    wide = replace(PLACE, what="wide")
    (sentence,) = _said(findings(LEFT, REACH, LANES, (wide,), NO_WALLS, NO_SCATTER), "missed wide")
    assert sentence.startswith("A strip much wider than the others, about 60 x 80 mm")


def test_a_reach_told_for_a_part_of_the_patch_says_so() -> None:
    part = replace(REACH, told_share=0.4)
    (sentence,) = _said(findings(LEFT, part, None, (), NO_WALLS, NO_SCATTER), "not reached")
    assert "where the machine never went (known for 40 % of the patch)" in sentence


def test_a_reach_that_may_be_all_is_worded_as_a_limit() -> None:
    nearly = replace(REACH, zones={"patch": ReachedShare(99.0, (97.2, 100.5), 60.0, (58.0, 62.0))})
    found = findings(LEFT, nearly, None, (), NO_WALLS, NO_SCATTER)
    # At most 2.8 of the 40.6 percent that are left.
    (never,) = _said(found, "not reached")
    (passed,) = _said(found, "passed over")
    assert never == "At most 3 % of the debris lay where the machine never went. That is at most 7 % of the leftovers."
    assert (
        passed
        == "Where the machine went it picked up 60 % (58 to 62 %); what it left there is at least 93 % of the leftovers."
    )


def test_a_reach_whose_interval_says_nothing_cannot_be_told() -> None:
    open_ = replace(REACH, zones={"patch": ReachedShare(50.0, (-5.0, 105.0), None, None)})
    found = findings(LEFT, open_, None, (), NO_WALLS, NO_SCATTER)
    assert _said(found, "reach unknown") == ["How much debris lay where the machine never went cannot be told."]
    assert not _said(found, "passed over")


def test_walls_without_a_step_are_told_once() -> None:
    plain = replace(WALL, gap_mm=None, gap_interval95=None)
    walls = Walls((plain, replace(plain, wall="left")), ())
    assert _said(findings(LEFT, REACH, None, (), walls, NO_SCATTER), "no wall") == [
        "Along the walls no strip is seen in which most of the debris stayed."
    ]
    mixed = findings(LEFT, REACH, None, (), Walls((plain, WALL), ()), NO_SCATTER)
    assert not _said(mixed, "no wall")
    assert len(_said(mixed, "wall")) == 1


def test_debris_in_the_margin_is_told_only_where_the_interval_tells_it_from_none() -> None:
    doubtful = replace(SCATTER, margin_interval95=(-0.1, 0.9))
    assert not _said(findings(LEFT, REACH, None, (), NO_WALLS, doubtful), "flung")
    everywhere = replace(SCATTER, side=None)
    (sentence,) = _said(findings(LEFT, REACH, None, (), NO_WALLS, everywhere), "flung")
    assert sentence == "Debris was flung into the margin: 0.4 % (0.2 to 0.6 %) of all."
    more = replace(SCATTER, margin_sides={"right": 45.0, "top": 30.0, "left": 25.0})
    (sentence,) = _said(findings(LEFT, REACH, None, (), NO_WALLS, more), "flung")
    assert "more than elsewhere over the right side" in sentence


@pytest.mark.parametrize(
    ("degrees", "towards"),
    [(0, "right"), (22, "right"), (90, "bottom"), (180, "left"), (270, "top"), (315, "top right"), (359, "right")],
)
def test_directions_are_sides_of_the_patch_with_y_down(degrees: float, towards: str) -> None:
    found = findings(LEFT, REACH, None, (), NO_WALLS, replace(NO_SCATTER, direction_deg=float(degrees)))
    assert _said(found, "direction") == [f"Moved debris lies mostly to the {towards} of where some is missing."]


def test_little_that_was_moved_is_told_as_a_limit_and_without_its_distance() -> None:
    still = replace(LEFT, zones={"patch": LeftShares(100.0, 99.5, 0.5, (97.0, 102.0))})
    assert _said(findings(still, REACH, None, (), NO_WALLS, SCATTER), "moved") == [
        "At most 3 % of the leftovers were moved but not picked up."
    ]


def test_a_distance_told_of_some_kinds_alone_is_not_said_of_all() -> None:
    both = replace(LEFT, matched={"peas": True, "grit": False})
    assert _said(findings(both, REACH, None, (), NO_WALLS, SCATTER), "moved") == [
        "19 % (17 to 21 %) of the leftovers were moved but not picked up."
    ]


some = st.one_of(st.none(), st.floats(-200, 200), st.just(float("nan")))
interval = st.one_of(st.none(), st.tuples(st.floats(-200, 200), st.floats(-200, 200)))


@given(some, interval, some, interval, some, some, some, st.floats(-50, 150), st.floats(0.1, 300))
def test_nothing_impossible_is_ever_printed(
    reached: float | None,
    reached95: tuple[float, float] | None,
    pickup: float | None,
    other95: tuple[float, float] | None,
    left: float | None,
    beyond: float | None,
    again: float | None,
    share: float,
    width: float,
) -> None:
    shares = LeftShares(10.0, left, None if left is None else 100 - left, reached95)
    reach = replace(REACH, zones={"patch": ReachedShare(reached, reached95, pickup, other95)})
    lanes = replace(LANES, strip_mm=width, strip_u_mm=width, share_percent=share)
    wall = replace(WALL, gap_mm=width, left_percent=left, beyond_percent=beyond, share_percent=share)
    scatter = replace(SCATTER, margin_percent=pickup, margin_interval95=other95, bare_percent=beyond)
    found = findings(
        replace(LEFT, zones={"patch": shares}), reach, lanes, (replace(PLACE, share_percent=share),),
        Walls((wall,), (replace(CORNER, share_percent=share),)), scatter, PassStep(number=2, of_found_percent=None, of_found_interval95=None, together_percent=None, missed_again_percent=again, missed_again_by_chance_percent=beyond),
    )  # fmt: skip
    for finding in found:
        assert "nan" not in finding.sentence
        assert "None" not in finding.sentence
        assert not re.search(r"(?<![\w.])-\d", finding.sentence)
        assert all(float(n) <= 100 for n in re.findall(r"(\d+(?:\.\d+)?) %", finding.sentence))
        assert re.fullmatch(r"[A-Z0-9].*\.", finding.sentence)
        assert finding.share_percent is None or 0 <= finding.share_percent <= 100


def test_a_place_that_does_not_fill_its_box_is_told_by_its_area() -> None:
    """An L along two walls, 25 mm wide and 200 mm long: 94 cm2 in a box of 400."""
    corners = ((0.0, 0.0), (200.0, 0.0), (200.0, 25.0), (25.0, 25.0), (25.0, 200.0), (0.0, 200.0))
    place = MissedPlace(what="place", polygon_mm=corners, area_mm2=9375.0, left_mm2=30.0, share_percent=20.0)
    (said,) = _said(findings(LEFT, REACH, None, (place,), NO_WALLS, NO_SCATTER), "missed place")
    assert said == (
        "A place, of 94 cm² within 200 x 200 mm around x = 100, y = 100 mm, was never reached. It holds 20 % of the leftovers."
    )


def test_a_pass_that_took_next_to_nothing_says_nothing_of_where_it_was() -> None:
    reach = replace(REACH, zones={"patch": ReachedShare(0.5, (0.1, 2.0), None, None)})
    found = findings(LEFT, reach, None, (PLACE,), NO_WALLS, NO_SCATTER)
    (said,) = _said(found, "not reached")
    assert said.startswith(
        "99.5 % (98.0 to 99.9 %) of the debris lay where the machine never went or where it took nothing, which"
    )
    assert not _said(found, "missed place") and not _said(found, "passed over")


@pytest.mark.parametrize(
    ("near", "free", "less", "interval", "said"),
    [
        (61.2, 92.4, 31.2, (20.0, 42.0), "61 % was picked up, on open floor 92 %: 31 points less (20 to 42)."),
        (95.0, 90.0, -5.0, (-8.0, -2.0), "95 % was picked up, on open floor 90 %: 5 points more (2 to 8)."),
        (
            90.0, 92.0, 2.0, (-3.0, 7.0),
            "90 % was picked up, on open floor 92 %; the difference may be chance (from 3 points more to 7 less).",
        ),
    ],
)  # fmt: skip
def test_how_much_less_is_picked_up_near_a_wall_is_said_with_or_without_a_gap(
    near: float, free: float, less: float, interval: tuple[float, float], said: str
) -> None:
    along = WallPickup(
        wall="top", edges_mm=(0.0, 30.0), bins=(LocalPickup(near, None),), near_mm=30.0,
        near=LocalPickup(near, None), open=LocalPickup(free, None), less_percent=less, less_interval95=interval,
        strips_mm=(),
    )  # fmt: skip
    for profile in (WALL, replace(WALL, gap_mm=None, gap_interval95=None)):
        found = findings(LEFT, REACH, None, (), Walls((profile,), (), (along,)), NO_SCATTER)
        sentences = [one.sentence for one in found if one.what == "near the wall"]
        assert sentences == [f"Within 30 mm of the top wall {said}"]
    unknown = replace(along, less_percent=None, less_interval95=None)
    found = findings(LEFT, REACH, None, (), Walls((WALL,), (), (unknown,)), NO_SCATTER)
    assert not [one for one in found if one.what == "near the wall"]


def test_how_narrow_a_strip_may_go_unseen_is_said_where_no_lanes_are_seen() -> None:
    (said,) = _said(findings(LEFT, replace(REACH, spacing_mm=40.6), None, (), NO_WALLS, NO_SCATTER), "no lanes")
    assert "Strips narrower than 41 mm, which is how far debris lies apart, may go unseen" in said
