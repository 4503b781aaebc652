from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from debriscount.grains.table import GrainTable
from debriscount.inputs.debris import DebrisCalibration, DebrisKind
from debriscount.pickup.masses import (
    BY_COUNT,
    CARRY,
    GRAINS_PER_CELL,
    count_weight,
    crowding_factor,
    grain_masses_g,
    true_cover,
)


@given(st.floats(0, 2), st.floats(0.01, 1.5))
def test_the_inverse_gives_the_true_cover_back(true: float, crowding: float) -> None:
    seen = (1 - np.exp(-crowding * true)) / crowding
    if crowding * seen < 0.98:
        assert true_cover(np.array([seen]), crowding)[0] == pytest.approx(true, abs=1e-9)


def test_a_single_layer_is_seen_whole() -> None:
    seen = np.array([0.0, 0.3, 1.0])
    np.testing.assert_array_equal(true_cover(seen, 0.0), seen)


@given(st.floats(0, 1), st.just(0.0) | st.floats(1e-6, 1.5))
def test_there_is_never_less_than_is_seen(seen: float, crowding: float) -> None:
    assert true_cover(np.array([seen]), crowding)[0] >= min(seen, 0.98 / max(crowding, 0.1)) - 1e-9


def test_a_little_crowding_is_nearly_none() -> None:
    # By hand, to second order: q = p + kappa p² / 2 = 0.3 + 0.00045.
    assert true_cover(np.array([0.3]), 0.01)[0] == pytest.approx(0.30045, abs=1e-6)


def test_cover_that_the_model_cannot_reach_stays_finite() -> None:
    # By hand: kappa p is held at 0.98: q = -ln(0.02) / 1 = 3.912.
    assert true_cover(np.array([1.0, 5.0]), 1.0) == pytest.approx([3.912, 3.912], abs=5e-4)


def side_of(area_mm2: float) -> float:
    return float(np.sqrt(2 * GRAINS_PER_CELL * area_mm2))


def test_grains_of_one_cell_share_their_factor_and_lone_grains_hardly_have_one() -> None:
    """By hand: cells of side sqrt(20 * 5) = 10 mm; ten grains of 5 mm² in one cover half of it."""
    crowded = np.full(10, 5.0)
    x = np.array([*np.linspace(1, 9, 10), 105.0])
    y = np.array([*np.full(10, 5.0), 5.0])
    factor = crowding_factor(x, y, np.append(crowded, 5.0), 1.0)
    assert side_of(5.0) == 10
    np.testing.assert_allclose(factor[:10], -np.log(0.5) / 0.5)
    assert factor[10] == pytest.approx(-np.log(0.95) / 0.05)


def test_without_crowding_or_grains_there_is_no_factor() -> None:
    places = np.array([1.0, 2.0])
    np.testing.assert_array_equal(crowding_factor(places, places, np.array([5.0, 5.0]), 0.0), [1, 1])
    assert crowding_factor(np.zeros(0), np.zeros(0), np.zeros(0), 0.7).shape == (0,)


def test_crowding_counts_cell_by_cell_not_over_the_patch() -> None:
    """The same grains in one heap hide more than spread out."""
    area = np.full(50, 5.0)
    heap = np.random.default_rng(1).uniform(0, 20, (2, 50))
    spread = np.random.default_rng(1).uniform(0, 500, (2, 50))
    total = [float((area * crowding_factor(x, y, area, 0.8)).sum()) for x, y in (heap, spread)]
    assert total[0] > 1.2 * total[1]
    assert total[1] < 1.1 * area.sum()


LENTILS = DebrisKind("red lentils", (205, 100, 55), (4.0, 6.0), grain_mass_mg=35.0, area_mass_mg_per_mm2=1.75)


def grains(*area_mm2: float) -> GrainTable:
    area = np.array(area_mm2)
    place = np.asarray(50.0 * np.arange(len(area)), float)
    return GrainTable(np.zeros(len(area), np.int16), place, place, area, np.zeros(len(area), np.int8))


def test_without_a_raster_area_alone_counts() -> None:
    assert grain_masses_g(grains(10.0, 20.0), [LENTILS]) == pytest.approx([0.0175, 0.035])


def test_coarse_grains_weigh_by_both_ways() -> None:
    weight = CARRY**2 / (CARRY**2 + BY_COUNT**2)
    assert count_weight(LENTILS, "", 0.3) == pytest.approx(weight)
    found = grain_masses_g(grains(10.0, 20.0), [LENTILS], "", 0.3)
    assert found == pytest.approx([(1 - weight) * 0.0175 + weight * 0.035, 0.035])


def test_areas_that_a_floor_shrinks_move_masses_little() -> None:
    true, shrunk = (grain_masses_g(grains(*(share * 20.0,) * 50), [LENTILS], "", 0.3).sum() for share in (1.0, 0.7))
    assert 1 - shrunk / true == pytest.approx(0.3 * (1 - count_weight(LENTILS, "", 0.3)))
    assert 1 - shrunk / true < 0.03


def test_grains_too_fine_for_an_outline_are_not_counted() -> None:
    assert count_weight(LENTILS, "", 1.0) == 0


def test_an_area_mass_learned_on_this_patch_is_believed() -> None:
    learned = replace(LENTILS, calibration=DebrisCalibration("2026-11-25", "hall bench", 0.02, ()))
    assert count_weight(learned, "hall bench", 0.3) < 0.05
    assert count_weight(learned, "kitchen", 0.3) > 0.9


def test_a_grain_mass_alone_will_do_for_coarse_grains() -> None:
    alone = replace(LENTILS, area_mass_mg_per_mm2=None)
    assert grain_masses_g(grains(10.0, 20.0), [alone], "", 0.3) == pytest.approx([0.035, 0.035])
    assert np.isnan(grain_masses_g(grains(10.0), [alone])).all()
