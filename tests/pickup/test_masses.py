from dataclasses import replace

import numpy as np
import pytest

from debriscount.grains.table import GrainTable
from debriscount.inputs.debris import DebrisCalibration, DebrisKind
from debriscount.pickup.masses import BY_COUNT, CARRY, count_weight, grain_masses_g

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
