import pytest

from debriscount.errors import CompareError
from debriscount.inputs.debris import DebrisKind
from debriscount.plan.portion import plan_portion

LENTILS = DebrisKind("lentils", (168, 72, 44), (4.0, 6.0), grain_mass_mg=35.0, area_mass_mg_per_mm2=2.0)
BARE = DebrisKind("fluff", (10, 10, 10), (4.0, 6.0))
PATCH_MM2 = 600.0 * 400


def test_the_usual_portion_by_hand() -> None:
    """4 % of 240,000 mm² at 2 mg/mm² are 19.2 g: 80 g/m², about 549 grains; 10 % are 48 g."""
    found = plan_portion(LENTILS, PATCH_MM2)
    assert found is not None
    assert found.grams == pytest.approx(19.2)
    assert found.load_g_per_m2 == pytest.approx(80)
    assert found.cover_percent == pytest.approx(4)
    assert found.most_g == pytest.approx(48)
    assert found.grains == 549
    assert not found.crowded


def test_a_wanted_load_and_its_crowding() -> None:
    found = plan_portion(LENTILS, PATCH_MM2, 250.0)
    assert found is not None
    assert found.grams == pytest.approx(60)
    assert found.cover_percent == pytest.approx(12.5)
    assert found.crowded
    looser = plan_portion(LENTILS, PATCH_MM2, 250.0, 15.0)
    assert looser is not None
    assert not looser.crowded


def test_without_an_area_mass_a_load_still_tells_grams() -> None:
    assert plan_portion(BARE, PATCH_MM2) is None
    found = plan_portion(BARE, PATCH_MM2, 50.0)
    assert found is not None
    assert found.grams == pytest.approx(12)
    assert found.cover_percent is None
    assert found.most_g is None
    assert not found.crowded


def test_out_of_range() -> None:
    with pytest.raises(CompareError, match="the load must be above 0"):
        plan_portion(LENTILS, PATCH_MM2, 0.0)
    with pytest.raises(CompareError, match="the limit of cover must be"):
        plan_portion(LENTILS, PATCH_MM2, 50.0, 0.0)
