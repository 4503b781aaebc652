from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from debriscount.grains.table import grain_table
from debriscount.leftovers.overlap import SeenGrains
from debriscount.leftovers.records import Fates
from debriscount.leftovers.trace import TracedShot, trace

from .discs import GRID, MM_PER_PX, PATCH, hint, strewn, traced

DIAMETER = 10.0


def share(values: np.ndarray, area: np.ndarray) -> float:
    return float(np.average(values, weights=area))


def test_what_lay_still_went_and_was_moved_are_told_grain_by_grain() -> None:
    rng = np.random.default_rng(1)
    before = strewn(rng, 100, 2 * DIAMETER)
    landed = strewn(rng, 20, 2 * DIAMETER, before)
    fates = trace(
        traced(before, DIAMETER),
        traced(np.concatenate([before[:30], landed]), DIAMETER),
        [hint(DIAMETER)],
        MM_PER_PX,
        0.02,
    )
    assert fates.matched == (True,)
    assert (fates.stayed == (np.arange(100) < 30)).all()
    assert ((fates.untouched > 0.5) == (np.arange(50) < 30)).all()


def test_grains_moved_by_less_than_their_size_are_moved_and_the_limit_says_from_where_on() -> None:
    rng = np.random.default_rng(2)
    before = strewn(rng, 80, 2.5 * DIAMETER)
    after = before.copy()
    after[:15, 0] += 3.0  # px: 1.5 mm of 5 mm
    fates = trace(traced(before, DIAMETER), traced(after, DIAMETER), [hint(DIAMETER)], MM_PER_PX, 0.05)
    assert fates.least_shift_mm[0] < 3.0 * MM_PER_PX
    assert (fates.untouched[:15] == 0).all() and (fates.untouched[15:] > 0.9).all()
    assert (fates.stayed[:15] == 0).all() and (fates.stayed[15:] == 1).all()


def test_a_clump_that_lost_some_of_its_grains_leaves_the_others_untouched() -> None:
    clump = np.array([[300.0, 300.0], [310.0, 300.0], [305.0, 309.0], [320.0, 300.0]])
    alone = strewn(np.random.default_rng(3), 30, 2.5 * DIAMETER, clump)
    before, after = np.concatenate([clump, alone]), np.concatenate([clump[:2], alone])
    fates = trace(traced(before, DIAMETER), traced(after, DIAMETER), [hint(DIAMETER)], MM_PER_PX, 0.05)
    assert fates.stayed[:4].tolist() == [1, 1, 0, 0]
    assert (fates.untouched > 0.5).all()


def strewn_anew(seed: int, untouched: float) -> tuple[Fates, float]:
    """Fine grains strewn at random, of which a share stays and the rest is put down at random; and that share by area."""
    rng = np.random.default_rng(seed)
    before = rng.uniform((140, 140), (900, 700), (4000, 2))
    kept = round(600 * untouched)
    after = np.concatenate([before[:kept], rng.uniform((140, 140), (900, 700), (600 - kept, 2))])
    fates = trace(traced(before, 4.0), traced(after, 4.0), [hint(4.0)], MM_PER_PX, 0.05)
    return fates, share((np.arange(600) < kept).astype(float), fates.later.area_mm2)


@settings(max_examples=20)
@given(st.integers(0, 2**31), st.floats(0.1, 0.9))
def test_chance_overlap_is_taken_off(seed: int, untouched: float) -> None:
    """The share must come out unbiased, though some of what was put down lies where a grain had lain."""
    fates, true = strewn_anew(seed, untouched)
    # Chance events among the moved: their number has a standard deviation of sqrt(n c (1 - c)).
    c = fates.chance_percent[0] / 100
    sd = np.sqrt((600 - round(600 * untouched)) * c * (1 - c)) / 600 / (1 - c)
    assert share(fates.untouched, fates.later.area_mm2) == pytest.approx(true, abs=4.5 * sd + 0.01)


def test_without_that_more_would_seem_untouched() -> None:
    """A Boolean model's grains overlap independently, so the closed form holds: seen = u + (1 - u) chance."""
    more, chance = [], []
    for seed in range(8):
        fates, true = strewn_anew(seed, 0.4)
        more.append(share((fates.untouched > 0).astype(float), fates.later.area_mm2) - true)
        chance.append((1 - true) * fates.chance_percent[0] / 100)
    assert np.mean(more) > 0.3 * np.mean(chance) > 0.01


def test_what_chance_overlap_hides_is_as_uncertain_as_said() -> None:
    """The share found must scatter about the true one by its standard uncertainty: 40 made-up runs, dense debris."""
    off, u = [], []
    for seed in range(40):
        rng = np.random.default_rng(seed)
        before = rng.uniform((140, 140), (900, 700), (9000, 2))
        after = np.concatenate([before[:120], rng.uniform((140, 140), (900, 700), (480, 2))])
        fates = trace(traced(before, 4.0), traced(after, 4.0), [hint(4.0)], MM_PER_PX, 0.05)
        area = fates.later.area_mm2
        off.append(100 * (share(fates.untouched, area) - share((np.arange(600) < 120).astype(float), area)))
        u.append(fates.u_untouched_percent[0])
    # Forty differences tell a standard deviation to 11 %.
    assert np.sqrt(np.mean(np.square(off))) == pytest.approx(np.mean(u), rel=0.25)


@pytest.mark.parametrize("number", [0, 1])
def test_a_grain_taken_for_another_kinds_beside_its_place_has_left_it(number: int) -> None:
    before = strewn(np.random.default_rng(5), 60, 2.5 * DIAMETER)
    after = before.copy()
    after[0, 0] += 3.0
    kind = ((np.arange(60) + number) % 2).astype(np.int16)
    mistaken = np.where(np.arange(60) == 0, 1 - kind, kind).astype(np.int16)
    shots = []
    for places, kinds in ((before, kind), (after, mistaken)):
        shot = traced(places, DIAMETER)
        found = replace(shot.seen.found, kind=kinds)
        shots.append(TracedShot(SeenGrains(found, shot.seen.cover), grain_table(found, GRID, PATCH)))
    fates = trace(shots[0], shots[1], [hint(DIAMETER)] * 2, MM_PER_PX, 0.05)
    assert fates.stayed.tolist() == [0] + [1] * 59


def test_nothing_left_and_nothing_before() -> None:
    some, none = traced(strewn(np.random.default_rng(4), 10, 20), DIAMETER), traced(np.zeros((0, 2)), DIAMETER)
    assert not trace(some, none, [hint(DIAMETER)], MM_PER_PX, 0.05).stayed.any()
    assert not trace(none, some, [hint(DIAMETER)], MM_PER_PX, 0.05).untouched.any()
