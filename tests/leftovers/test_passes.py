from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from debriscount.grains.table import GrainTable
from debriscount.layout.lay_patch import lay_patch
from debriscount.leftovers.passes import Pickup, brought, further_pass, pass_step
from debriscount.leftovers.records import MissedPlace, Reach
from debriscount.registration.grid import FloorGrid

GRID = FloorGrid(0.0, 0.0, 10.0, 20, 30)


def known(percent: float, half: float = 0.5) -> Pickup:
    return Pickup(percent, (percent - half, percent + half))


def reach(chance: np.ndarray, grid: FloorGrid = GRID) -> Reach:
    return Reach({}, grid, chance.astype(np.float32), 1.0)


def strewn(grid: FloorGrid = GRID, area: float | np.ndarray = 1.0) -> GrainTable:
    """A grain in every cell of a map."""
    x, y = (a.ravel() for a in np.meshgrid(grid.x_mm(), grid.y_mm()))
    areas = np.broadcast_to(area, grid.shape).astype(float).ravel()
    return GrainTable(np.zeros(len(x), np.int16), x, y, areas, np.zeros(len(x), np.int8))


def test_the_first_pass_finds_everything() -> None:
    step = pass_step(1, known(80))
    assert (step.number, step.of_found_percent, step.of_found_interval95, step.together_percent) == (
        1,
        80,
        (79.5, 80.5),
        80,
    )
    assert (step.missed_again_percent, step.missed_again_by_chance_percent) == (None, None)


@pytest.mark.parametrize(("first", "second", "expected"), [(80, 90, 50), (50, 50, 0), (60, 100, 100), (80, 70, -50)])
def test_a_later_pass_is_told_of_what_it_found(first: float, second: float, expected: float) -> None:
    step = pass_step(2, known(second), known(first))
    assert step.of_found_percent == pytest.approx(expected)
    assert step.together_percent == second
    assert step.of_found_interval95 is not None
    assert step.of_found_interval95[0] <= expected <= step.of_found_interval95[1]


def test_the_interval_is_that_of_a_ratio_of_normal_amounts() -> None:
    """*Independent*: drawn left and found amounts (JCGM 101)."""
    rng = np.random.default_rng(1)
    left, found = rng.normal(12, 1.5, 400_000), rng.normal(30, 2.5, 400_000)
    expected = np.quantile(100 * (1 - left / found), [0.025, 0.975])
    interval = pass_step(2, known(88, 1.96 * 1.5), known(70, 1.96 * 2.5)).of_found_interval95
    assert interval is not None
    assert interval == pytest.approx(tuple(expected), abs=0.4)


def test_with_what_was_found_known_the_interval_is_that_of_what_is_left() -> None:
    step = pass_step(2, Pickup(90.0, (88.0, 91.0)), Pickup(80.0, (80.0, 80.0)))
    assert step.of_found_interval95 == pytest.approx((40.0, 55.0))


@pytest.mark.parametrize(
    ("pickup", "earlier"),
    [(known(90), known(100, 0)), (Pickup(None, None), known(50)), (known(90), Pickup(None, None))],
)
def test_a_pass_that_found_nothing_or_is_not_known_has_no_share(pickup: Pickup, earlier: Pickup) -> None:
    step = pass_step(2, pickup, earlier)
    assert (step.of_found_percent, step.of_found_interval95) == (None, None)


@pytest.mark.parametrize(
    ("pickup", "earlier"),
    [
        (Pickup(90.0, None), known(80)),
        (known(90), Pickup(80.0, None)),
        (known(99.9), Pickup(99.8, (99.0, 100.3))),
        (known(99), Pickup(98.0, (92.0, 99.0))),
    ],
)
def test_a_share_whose_interval_cannot_be_known_has_none(pickup: Pickup, earlier: Pickup) -> None:
    step = pass_step(2, pickup, earlier)
    assert step.of_found_percent is not None
    assert step.of_found_interval95 is None


def test_places_missed_by_both_passes_are_set_against_chance() -> None:
    first, second = np.ones(GRID.shape), np.ones(GRID.shape)
    first[:10] = 0  # half of the floor
    second[5:15] = 0  # half of it too; half of that was missed before
    step = pass_step(2, known(90), known(80), reach(second), reach(first), strewn())
    assert (step.missed_again_percent, step.missed_again_by_chance_percent) == (50, 50)
    again = pass_step(2, known(90), known(80), reach(first), reach(first), strewn())
    assert (again.missed_again_percent, again.missed_again_by_chance_percent) == (100, 50)


def test_passes_that_miss_by_themselves_miss_again_as_by_chance() -> None:
    rng = np.random.default_rng(2)
    grid = FloorGrid(0.0, 0.0, 1.0, 400, 400)
    first, second = ((rng.random(grid.shape) > share).astype(float) for share in (0.3, 0.2))
    step = pass_step(2, known(90), known(80), reach(second, grid), reach(first, grid), strewn(grid))
    assert step.missed_again_percent == pytest.approx(step.missed_again_by_chance_percent, abs=1)
    assert step.missed_again_percent == pytest.approx(30, abs=1)


def test_what_lies_in_the_margin_is_no_more_there_to_be_found() -> None:
    """Of 100, 70 picked up and 10 flung out; the second pass finds 20, takes 15, and leaves 5 and the 10 outside."""
    step = pass_step(2, Pickup(85, (84.5, 85.5), 10.0), Pickup(70, (69.5, 70.5), 10.0))
    assert step.of_found_percent == pytest.approx(75)
    assert step.of_found_interval95 is not None
    assert step.of_found_interval95[0] < 75 < step.of_found_interval95[1]
    assert pass_step(2, Pickup(70, None, 30.0), Pickup(70, (69.5, 70.5), 30.0)).of_found_percent is None
    # One that brings 5 of the 10 back found 25, and took 20.
    assert pass_step(2, Pickup(90, None, 5.0), Pickup(70, None, 10.0)).of_found_percent == pytest.approx(80)
    further = further_pass([Pickup(70, None, 10.0), Pickup(85, None, 10.0)])
    assert further is not None and further.together_percent <= 90


def test_what_was_missed_again_is_debris_not_floor() -> None:
    """Three quarters of what lay in the places missed lay in those that were missed before: 3 a cell against 1."""
    first, second, area = np.ones(GRID.shape), np.ones(GRID.shape), np.ones(GRID.shape)
    first[:10], area[:10] = 0, 3.0
    second[5:15] = 0
    step = pass_step(2, known(90), known(80), reach(second), reach(first), strewn(area=area))
    assert (step.missed_again_percent, step.missed_again_by_chance_percent) == (75, 75)
    assert pass_step(2, known(90), known(80), reach(second), reach(first)).missed_again_percent is None


def test_places_that_cannot_be_told_do_not_count() -> None:
    first, second = np.zeros(GRID.shape), np.zeros(GRID.shape)
    first[:, 15:], second[:, :5] = np.nan, np.nan
    step = pass_step(2, known(90), known(80), reach(second), reach(first), strewn())
    assert (step.missed_again_percent, step.missed_again_by_chance_percent) == (100, 100)
    none = pass_step(2, known(90), known(80), reach(np.full(GRID.shape, np.nan)), reach(first), strewn())
    assert none.missed_again_percent is None
    all_met = pass_step(2, known(90), known(80), reach(np.ones(GRID.shape)), reach(first), strewn())
    assert (all_met.missed_again_percent, all_met.missed_again_by_chance_percent) == (None, None)


def test_maps_on_different_grids_are_refused() -> None:
    other = FloorGrid(0.0, 0.0, 5.0, 20, 30)
    with pytest.raises(ValueError, match="must lie on one grid, got FloorGrid"):
        pass_step(2, known(90), known(80), reach(np.ones(GRID.shape)), reach(np.ones(GRID.shape), other), strewn())


@pytest.mark.parametrize("pickups", [[], [known(80)], [known(80), Pickup(None, None)], [known(80), known(100, 0)]])
def test_one_pass_or_nothing_left_says_nothing_of_the_next(pickups: list[Pickup]) -> None:
    assert further_pass(pickups) is None


def test_the_next_pass_lies_between_a_repeated_path_and_a_fresh_one() -> None:
    # 60, then half of the 40 left: afresh half of 20 again; repeated, gains go on shrinking 60, 20, 6.7.
    further = further_pass([known(60, 0), known(80, 0)])
    assert further is not None
    assert further.together_percent == pytest.approx(80 + (10 + 20 / 3) / 2)
    assert "Extrapolated from 2 passes, which picked up 50 to 60 %" in further.sentence


def test_alike_passes_go_on_alike() -> None:
    further = further_pass([known(50, 0), known(75, 0), known(87.5, 0)])
    assert further is not None
    assert further.together_percent == pytest.approx(93.75)
    assert further.interval95 == pytest.approx((93.75, 93.75))


@pytest.mark.parametrize(("hard", "rate"), [(0.05, 0.8), (0.2, 0.5), (0.3, 0.9)])
def test_a_hard_core_that_no_pass_meets_lies_within_the_interval(hard: float, rate: float) -> None:
    together = [100 * (1 - hard) * (1 - (1 - rate) ** p) for p in range(1, 5)]
    for count in (2, 3):
        further = further_pass([known(percent) for percent in together[:count]])
        assert further is not None
        assert further.interval95[0] <= together[count] <= further.interval95[1]


@given(st.lists(st.floats(0, 99), min_size=2, max_size=6))
@example([5e-324, 1.0])
def test_what_is_extrapolated_can_be(percents: list[float]) -> None:
    pickups = [known(percent) for percent in percents]
    further = further_pass(pickups)
    assert further is not None
    low, high = further.interval95
    assert percents[-1] - 0.5 <= low <= further.together_percent <= high <= 100
    assert percents[-1] <= further.together_percent
    if all(later <= earlier for earlier, later in pairwise(percents)):
        assert further.together_percent == percents[-1]


def test_a_less_certain_pickup_leaves_the_next_less_certain() -> None:
    widths = []
    for half in (0.1, 2.0):
        further = further_pass([known(50, half), known(74, half), known(87, half)])
        assert further is not None
        widths.append(further.interval95[1] - further.interval95[0])
    assert widths[0] < widths[1]


def test_what_a_pass_took_from_where_none_had_been_is_told() -> None:
    first = np.ones(GRID.shape)
    first[:, : GRID.shape[1] // 2] = 0
    found = strewn()
    column = GRID.to_px(np.stack([found.x_mm, found.y_mm], axis=-1))[:, 0]
    left = np.rint(column) < GRID.shape[1] // 2
    taken = pass_step(2, known(90), known(80), reach(first), reach(first), found, np.where(left, 0.0, 1.0))
    assert taken.from_missed_percent == pytest.approx(100)
    alike = pass_step(2, known(90), known(80), reach(first), reach(first), found, np.zeros(len(left)))
    share = 100 * found.area_mm2[left].sum() / found.area_mm2.sum()
    assert alike.from_missed_percent == pytest.approx(share)
    assert pass_step(1, known(80), None, reach(first), None, found, np.zeros(len(left))).from_missed_percent is None


def test_what_a_pass_took_is_told_by_place_and_zone() -> None:
    patch = lay_patch(300, 200)
    found = strewn(FloorGrid(5.0, 5.0, 10.0, 20, 30))
    left = found.x_mm < 100
    corners = ((0.0, 0.0), (100.0, 0.0), (100.0, 200.0), (0.0, 200.0))
    place = MissedPlace(what="place", polygon_mm=corners, area_mm2=2e4, left_mm2=200.0, share_percent=50.0)
    bare = replace(place, polygon_mm=((400.0, 0.0), (500.0, 0.0), (500.0, 100.0)))
    # Of the place all but a quarter is taken, of the rest a tenth.
    missed, zone = brought(found, np.where(left, 0.25, 0.9), patch, [place, bare])
    assert (missed.what, missed.around_mm, zone.what, zone.around_mm) == ("missed", (50.0, 100.0), "open", None)
    assert missed.found_mm2 == found.area_mm2[left].sum()
    assert missed.taken_percent == pytest.approx(75)
    assert missed.share_percent == pytest.approx(100 * 75 / (75 + 20))
    assert zone.share_percent == pytest.approx(100)
