from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from debriscount.grains.table import GrainTable
from debriscount.inputs.patch import Patch
from debriscount.layout.lay_patch import lay_patch
from debriscount.leftovers.lanes.evidence import LaneEvidence, beyond_wall_gaps, weigh_grains
from debriscount.leftovers.records import Fates

OPEN_FLOOR = lay_patch(400, 300)
WALL = lay_patch(400, 300, ("left",))


def fates_at(patch: Patch, x: Any, y: Any, stayed: Any, kind: Any = 0) -> Fates:
    x, y = np.asarray(x, float), np.asarray(y, float)
    grains = GrainTable(np.broadcast_to(kind, x.shape).astype(np.int16), x, y, np.ones(len(x)), patch.zone_codes(x, y))
    return Fates(
        earlier=grains,
        later=grains,
        stayed=np.asarray(stayed, float),
        untouched=np.zeros(len(x)),
        matched=(True, True),
        least_shift_mm=(0.3,) * 2,
        u_untouched_percent=(1.0,) * 2,
        chance_percent=(0.0,) * 2,
    )


def strewn(patch: Patch, count: int, seed: int = 0) -> tuple[Any, Any, Any]:
    rng = np.random.default_rng(seed)
    return rng.uniform(0, patch.width_mm, count), rng.uniform(0, patch.height_mm, count), rng.random(count)


def test_places_are_counted_from_the_middle_and_the_margin_is_left_out() -> None:
    fates = fates_at(OPEN_FLOOR, [-20, 200, 390], [10, 150, 10], [0, 0, 1])
    evidence = weigh_grains(fates, OPEN_FLOOR)
    assert evidence.x_mm.tolist() == [0, 190] and evidence.y_mm.tolist() == [0, -140]


@given(st.floats(-200, 200), st.floats(-150, 150), st.floats(0, 180))
def test_across_and_along_turn_the_floor(x: float, y: float, heading: float) -> None:
    across, along = LaneEvidence(np.array([x]), np.array([y]), np.zeros(1)).across_along(heading)
    turned = (x + 1j * y) * np.exp(-1j * np.deg2rad(heading))
    assert (along[0], across[0]) == pytest.approx((turned.real, turned.imag), abs=1e-9)


def test_ratios_are_those_of_bernoulli_trials() -> None:
    x, y, chance = strewn(OPEN_FLOOR, 20_000)
    missed = x < 40
    stayed = missed | (chance < 0.2)
    fates = fates_at(OPEN_FLOOR, x, y, stayed)
    ratio = weigh_grains(fates, OPEN_FLOOR, missed).ratio
    # By hand: 97 % at most stay where the machine never came, 20 % where it did.
    assert ratio[stayed].mean() == pytest.approx(np.log(0.97 / 0.2), abs=0.05)
    assert ratio[~stayed].mean() == pytest.approx(np.log(0.03 / 0.8), abs=0.05)


def test_what_stays_beside_walls_and_of_other_kinds_is_learned_by_itself() -> None:
    x, y, chance = strewn(WALL, 20_000, 1)
    kind = np.arange(20_000) % 2
    share = np.where(x < WALL.edge_mm, 0.6, 0.1) + 0.2 * kind
    stayed = chance < share
    ratio = weigh_grains(fates_at(WALL, x, y, stayed, kind), WALL).ratio
    means = [ratio[stayed & (kind == k) & (near == (x < WALL.edge_mm))].mean() for k in (0, 1) for near in (0, 1)]
    assert means == pytest.approx([np.log(0.97 / s) for s in (0.1, 0.6, 0.3, 0.8)], abs=0.1)


def test_chance_alone_gives_likelihood_ratios_of_mean_one() -> None:
    # Whatever the alternative, a likelihood ratio has mean 1 where the null holds (Wald 1945, from memory); above it,
    # chance would be taken for strips too often.
    rng = np.random.default_rng(2)
    x, y, chance = strewn(OPEN_FLOOR, 100_000, 2)
    for noise in (0.0, 0.5):
        values = (chance < 0.15) + rng.normal(0, noise, len(x))
        ratio = weigh_grains(fates_at(OPEN_FLOOR, x, y, values), OPEN_FLOOR).ratio
        assert float(np.exp(ratio).mean()) == pytest.approx(1, abs=0.1)


def test_no_single_grain_says_more_than_that_it_stayed() -> None:
    x, y, chance = strewn(OPEN_FLOOR, 2000)
    values = (chance < 0.1) + np.random.default_rng(0).normal(0, 0.5, 2000)
    values[0] = 1e6
    ratio = weigh_grains(fates_at(OPEN_FLOOR, x, y, values), OPEN_FLOOR).ratio
    assert np.isfinite(ratio).all() and ratio.max() < np.log(0.97 / 0.03) + 1e-9


def test_a_gap_along_a_wall_is_left_out_and_nothing_else() -> None:
    x, y, chance = strewn(WALL, 6000, 3)
    stayed = (x < 15) | (np.abs(x - 200) < 10) | (chance < 0.1)
    evidence = weigh_grains(fates_at(WALL, x, y, stayed), WALL)
    gone = ~beyond_wall_gaps(evidence, WALL)
    assert (x[gone].max(), x[~gone].min()) == pytest.approx((15, 15), abs=1.5)
    assert beyond_wall_gaps(evidence, OPEN_FLOOR).all()


def test_a_strip_beside_a_wall_but_not_at_it_is_no_gap() -> None:
    x, y, chance = strewn(WALL, 6000, 4)
    evidence = weigh_grains(fates_at(WALL, x, y, (np.abs(x - 50) < 10) | (chance < 0.1)), WALL)
    assert beyond_wall_gaps(evidence, WALL).all()
