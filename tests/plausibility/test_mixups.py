"""Mix-ups told from made-up grains: discs on a lattice, some of them missing, moved or on the blank."""

from dataclasses import replace
from types import SimpleNamespace
from typing import cast

import cv2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from debriscount.cover.kinds import KindHint
from debriscount.cover.maps import CoverMaps, ShotCover
from debriscount.errors import ShotOrderError
from debriscount.grains.find import FoundGrains
from debriscount.inputs.debris import DebrisKind
from debriscount.leftovers.records import Explained, WhyLeft
from debriscount.photo.read import Photo, photo_from_array
from debriscount.pickup.records import Amount, PassFigures, ZoneFigures
from debriscount.plausibility.mixups import (
    blank_flags,
    came_back,
    check_shot_order,
    lying_too,
    other_run_flags,
    size_flags,
    usual_size_px,
)
from debriscount.plausibility.standing_out import LogViews

SHAPE = (300, 400)
ALL = np.ones(SHAPE, bool)
LATTICE = [(x, y) for x in range(20, 390, 30) for y in range(20, 290, 30)]
BEADS = DebrisKind("beads", (200, 60, 30), (4.0, 6.0))
HINT = KindHint(np.array([0.5, 0.05, 0.01]), (10.0, 15.0))


def discs(*places: tuple[int, int], radius: int = 6) -> FoundGrains:
    labels = np.zeros(SHAPE, np.int32)
    for k, place in enumerate(places, start=1):
        cv2.circle(labels, place, radius, (k,), -1)
    count = len(places)
    xy = np.array(places, float).reshape(-1, 2)
    return FoundGrains(
        np.zeros(count, np.int16), xy[:, 0], xy[:, 1], np.full(count, np.pi * radius**2), np.zeros(count),
        np.arange(count, dtype=np.int32), (labels > 0).astype(np.uint8), labels,
    )  # fmt: skip


def cover_of(found: FoundGrains) -> NDArray[np.float32]:
    return found.kind_map.astype(np.float32)


def photos(*names: str) -> dict[str, Photo]:
    return {name: photo_from_array(np.zeros((64, 64, 3), np.uint8), f"{name}.jpg") for name in names}


def test_grains_that_lie_too_and_that_came_back_are_counted_one_by_one() -> None:
    first, second, third = discs(*LATTICE[:9]), discs(*LATTICE[:3]), discs(*LATTICE[:5], (200, 155))
    assert lying_too(first, second.kind_map > 0).tolist() == [True] * 3 + [False] * 6
    back = came_back(third, first.kind_map > 0, second.kind_map > 0)
    assert back.tolist() == [False] * 3 + [True] * 2 + [False]
    assert came_back(discs(), ALL, ALL).tolist() == []


def check(**found: FoundGrains) -> None:
    views = {
        name: np.where(one.kind_map[..., None] > 0, np.float32(0.6), np.float32(0.2)) for name, one in found.items()
    }
    views = {name: np.repeat(view, 3, axis=-1) for name, view in views.items()}
    check_order(found, views, {name: cover_of(one) for name, one in found.items()})


def check_order(
    found: dict[str, FoundGrains], views: dict[str, NDArray[np.float32]], covers: dict[str, NDArray[np.float32]]
) -> None:
    shots = {n: ShotCover(c, c, np.zeros(SHAPE, np.uint8), c, c, (0.1,)) for n, c in covers.items()}
    maps = CoverMaps(views["before"], views, (), shots, (0.0,))
    check_shot_order(photos(*found), found, maps, ALL, LogViews(views, 14.0))


def test_passes_in_the_wrong_order_are_refused_and_in_the_right_order_not() -> None:
    before, many, few = discs(*LATTICE), discs(*LATTICE[:40]), discs(*LATTICE[:10])
    check(before=before, after=many, after2=few)
    with pytest.raises(ShotOrderError, match=r"^after2\.jpg: 30 grains lie just where .* missing in after\.jpg"):
        check(before=before, after=few, after2=many)


def test_a_floor_whose_pattern_comes_and_goes_is_no_wrong_order() -> None:
    """Six of ten things that the second pass left were not seen after the first, which left four times as many."""
    check(before=discs(*LATTICE), after=discs(*LATTICE[6:50]), after2=discs(*LATTICE[:10]))


def test_blank_and_before_exchanged_are_told_though_nothing_is_known_of_the_debris() -> None:
    rng = np.random.default_rng(1)
    bare, strewn = (rng.normal(0.2, 0.004, (*SHAPE, 3)).astype(np.float32) for _ in range(2))
    strewn[discs(*LATTICE).kind_map > 0] = 0.6
    nothing = {name: discs() for name in ("blank", "before", "after")}
    covers = {name: np.zeros(SHAPE, np.float32) for name in nothing}
    check_order(nothing, {"blank": bare, "before": strewn, "after": bare}, covers)
    with pytest.raises(ShotOrderError, match=r"^blank\.jpg: is given as the blank but .* Are the two exchanged"):
        check_order(nothing, {"blank": strewn, "before": bare, "after": bare}, covers)


def test_what_a_second_pass_moved_did_not_come_back() -> None:
    moved = [(x + 15, y + 15) for x, y in LATTICE[10:40]]
    check(before=discs(*LATTICE), after=discs(*LATTICE[:10]), after2=discs(*LATTICE[:10], *moved))


def test_a_blank_with_more_debris_than_before_is_refused() -> None:
    with pytest.raises(ShotOrderError, match=r"^blank\.jpg: is given as the blank .* before\.jpg.*exchanged"):
        check(blank=discs(*LATTICE), before=discs(*LATTICE[:5]), after=discs(*LATTICE[:4]))
    check(blank=discs(*LATTICE[:9]), before=discs(*LATTICE[:5]), after=discs(*LATTICE[:4]))  # specks of some floor


@pytest.mark.parametrize(("lying", "severity"), [(1, None), (2, "unfit"), (50, "unfit")])
def test_debris_that_lay_on_the_blank_already_is_told(lying: int, severity: str | None) -> None:
    told = blank_flags(discs(*LATTICE), cover_of(discs(*LATTICE[:lying])))
    assert [flag.severity for flag in told] == [severity] * (severity is not None)
    if told:
        share = 100 * lying / len(LATTICE)
        assert f"{lying} grains, {share:.1f} %" in told[0].sentence
        assert (told[0].code, told[0].shot) == ("debris-on-blank", "blank")


def test_specks_on_the_blank_beside_the_debris_are_none() -> None:
    assert blank_flags(discs(*LATTICE), cover_of(discs(*[(x + 15, y + 15) for x, y in LATTICE[:30]]))) == []


def passes(untouched: float | None, left: int) -> tuple[tuple[PassFigures, ...], Explained]:
    """As much of a pass as is looked at."""
    figures = PassFigures(
        2,
        {
            "patch": ZoneFigures(
                before=Amount(100.0, 90, None), after=Amount(9.0, left, None), gone_percent=91.0, pickup_percent=91.0
            )
        },
        {},
    )
    zone = SimpleNamespace(untouched_percent=untouched)
    why = SimpleNamespace(leftovers=SimpleNamespace(zones={"patch": zone}))
    return (figures,), Explained((None, cast("WhyLeft", why)))


def test_leftovers_of_which_none_lay_there_before_are_of_another_run() -> None:
    (flag,) = other_run_flags(*passes(3.0, 50), [HINT])
    assert (flag.code, flag.severity, flag.shot) == ("another-run", "doubtful", "after2")
    assert "pass 2 left only 3 %" in flag.sentence
    assert other_run_flags(*passes(60.0, 50), [HINT]) == []
    assert other_run_flags(*passes(3.0, 5), [HINT]) == []  # a few grains may all have been moved
    assert other_run_flags(*passes(None, 50), [HINT]) == []
    assert other_run_flags(*passes(3.0, 50), [KindHint(HINT.colour, (0.8, 2.0))]) == []  # found by chance


def test_sizes_of_the_file_are_held_against_what_is_seen() -> None:
    cover = cover_of(discs(*LATTICE))
    assert size_flags([BEADS], [HINT], cover, ALL, 0.4) == []
    for factor, word in ((3.0, "smaller"), (1 / 3, "larger")):
        wrong = KindHint(HINT.colour, (factor * HINT.size_px[0], factor * HINT.size_px[1]))
        (flag,) = size_flags([BEADS], [wrong], cover, ALL, 0.4)
        assert flag.code == "grain-size"
        assert word in flag.sentence and "beads" in flag.sentence
    guessed = KindHint(HINT.colour, (100.0, 200.0), size_known=False)
    assert size_flags([BEADS], [guessed], cover, ALL, 0.4) == []


def test_flakes_of_many_sizes_are_held_against_their_middle_not_against_the_largest() -> None:
    cover, flakes = cover_of(discs(*LATTICE)), KindHint(HINT.colour, (9.0, 15.0))
    small = KindHint(HINT.colour, (4.0, 7.5))
    assert size_flags([BEADS], [flakes], cover, ALL, 0.4) == []
    (flag,) = size_flags([BEADS], [small], cover, ALL, 0.4)
    assert "larger" in flag.sentence


def test_a_file_with_sizes_far_apart_tells_no_size() -> None:
    cover, vague = cover_of(discs(*LATTICE)), replace(BEADS, size_mm=(0.4, 40.0))
    (flag,) = size_flags([BEADS, vague], [HINT, KindHint(HINT.colour, (1.0, 100.0))], cover, ALL, 0.4)
    assert (flag.code, flag.severity) == ("size-range", "doubtful")
    assert "beads measure 0.4 to 40 mm" in flag.sentence
    assert size_flags([BEADS], [KindHint(HINT.colour, (5.0, 15.0))], cover, ALL, 0.4) == []


@given(radius=st.integers(3, 12), touching=st.integers(0, 30), specks=st.integers(0, 60))
def test_neither_clumps_nor_specks_move_the_usual_size_much(radius: int, touching: int, specks: int) -> None:
    found = discs(*LATTICE, radius=radius)
    mask = found.kind_map > 0
    for x, y in LATTICE[:touching]:  # bridges to the right-hand neighbour
        mask[y, x : x + 30] = True
    for k in range(specks):
        mask[5 + 30 * (k % 9) : 7 + 30 * (k % 9), 5 + 30 * (k // 9) : 7 + 30 * (k // 9)] = True
    usual = usual_size_px(mask)
    assert usual is not None
    assert usual == pytest.approx(2 * radius + 1, rel=0.45)


def test_too_few_things_have_no_usual_size() -> None:
    assert usual_size_px(discs(*LATTICE[:5]).kind_map > 0) is None
