from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from debriscount.grains.table import GrainTable
from debriscount.inputs.patch import Patch
from debriscount.layout.lay_patch import lay_patch
from debriscount.leftovers.lanes.evidence import LaneEvidence, beyond_wall_gaps
from debriscount.leftovers.reach.survival import GrainEvidence
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


def said_of(fates: Fates, patch: Patch) -> GrainEvidence:
    """By hand: 97 % stay where the machine never came, 10 % where it did."""
    inside = fates.earlier.zone < 3
    stayed = fates.stayed[inside]
    return GrainEvidence(inside, stayed * np.log(0.97 / 0.1) + (1 - stayed) * np.log(0.03 / 0.9), 0.9)


def test_places_are_counted_from_the_middle_and_the_margin_is_left_out() -> None:
    fates = fates_at(OPEN_FLOOR, [-20, 200, 390], [10, 150, 10], [0, 0, 1])
    evidence = beyond_wall_gaps(said_of(fates, OPEN_FLOOR), fates, OPEN_FLOOR)
    assert evidence.x_mm.tolist() == [0, 190] and evidence.y_mm.tolist() == [0, -140]


@given(st.floats(-200, 200), st.floats(-150, 150), st.floats(0, 180))
def test_across_and_along_turn_the_floor(x: float, y: float, heading: float) -> None:
    across, along = LaneEvidence(np.array([x]), np.array([y]), np.zeros(1)).across_along(heading)
    turned = (x + 1j * y) * np.exp(-1j * np.deg2rad(heading))
    assert (along[0], across[0]) == pytest.approx((turned.real, turned.imag), abs=1e-9)


def test_a_gap_along_a_wall_is_left_out_and_nothing_else() -> None:
    x, y, chance = strewn(WALL, 6000, 3)
    fates = fates_at(WALL, x, y, (x < 15) | (np.abs(x - 200) < 10) | (chance < 0.1))
    kept = beyond_wall_gaps(said_of(fates, WALL), fates, WALL).x_mm + WALL.width_mm / 2
    assert kept.min() == pytest.approx(15, abs=1.5)
    assert len(kept) == np.sum(x >= kept.min())
    assert len(beyond_wall_gaps(said_of(fates, OPEN_FLOOR), fates, OPEN_FLOOR)) == 6000


def test_a_strip_beside_a_wall_but_not_at_it_is_no_gap() -> None:
    x, y, chance = strewn(WALL, 6000, 4)
    fates = fates_at(WALL, x, y, (np.abs(x - 50) < 10) | (chance < 0.1))
    # The grain or two at the very foot may have stayed by chance.
    assert len(beyond_wall_gaps(said_of(fates, WALL), fates, WALL)) >= 5990
