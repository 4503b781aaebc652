import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from debriscount.leftovers.trace import trace

from .discs import MM_PER_PX, hint, strewn, traced

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


@settings(max_examples=20, deadline=None)
@given(st.integers(0, 2**31), st.floats(0.1, 0.9))
def test_chance_overlap_is_taken_off(seed: int, untouched: float) -> None:
    """Fine grains strewn at random, as many moved ones put down at random: the share must come out unbiased.

    A Boolean model's grains overlap independently, so the closed form holds: seen = u + (1 - u) chance.
    """
    rng = np.random.default_rng(seed)
    before = rng.uniform((140, 140), (900, 700), (4000, 2))
    kept = round(600 * untouched)
    after = np.concatenate([before[:kept], rng.uniform((140, 140), (900, 700), (600 - kept, 2))])
    fates = trace(traced(before, 4.0), traced(after, 4.0), [hint(4.0)], MM_PER_PX, 0.05)
    area = fates.later.area_mm2
    seen = share((fates.untouched > 0).astype(float), area)
    found = share(fates.untouched, area)
    true = share((np.arange(600) < kept).astype(float), area)
    assert seen - true > 0.3 * (1 - true) * fates.chance_percent[0] / 100
    # Chance events among the moved: their number has a standard deviation of sqrt(n c (1 - c)).
    c = fates.chance_percent[0] / 100
    sd = np.sqrt((600 - kept) * c * (1 - c)) / 600 / (1 - c)
    assert found == pytest.approx(true, abs=4.5 * sd + 0.01)


def test_nothing_left_and_nothing_before() -> None:
    some, none = traced(strewn(np.random.default_rng(4), 10, 20), DIAMETER), traced(np.zeros((0, 2)), DIAMETER)
    assert not trace(some, none, [hint(DIAMETER)], MM_PER_PX, 0.05).stayed.any()
    assert not trace(none, some, [hint(DIAMETER)], MM_PER_PX, 0.05).untouched.any()
