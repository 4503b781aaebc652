import math
from collections.abc import Callable

import numpy as np
import pytest

from debriscount.portions.fit import fit_area_mass, fit_grain_mass, read_off, repeats
from debriscount.portions.records import WeighedPortion
from debriscount.portions.weights import portion_u_mg
from debriscount.stats.quantity import Quantity

Make = Callable[..., WeighedPortion]
Size = tuple[float, float]


def test_portions_on_a_line_give_its_slope(make_portion: Make, size_mm: Size) -> None:
    portions = [make_portion(m) for m in (5, 10, 20)]
    found = fit_area_mass(portions, size_mm)
    assert found.area_mass_mg_per_mm2.value == pytest.approx(1.75)
    assert found.area_mass_mg_per_mm2.dof == math.inf
    assert found.areas_mm2 == pytest.approx(1000 / 1.75 * np.array([5, 10, 20]))
    assert found.crowding == 0
    assert found.lack_of_fit is not None
    assert found.lack_of_fit.p > 0.99
    assert found.intercept_mg is not None
    assert found.intercept_mg.value == pytest.approx(0, abs=1e-6)


def test_one_portion_is_enough_for_a_figure_but_not_for_a_check(make_portion: Make, size_mm: Size) -> None:
    found = fit_area_mass([make_portion(10)], size_mm)
    assert found.area_mass_mg_per_mm2.value == pytest.approx(1.75)
    assert found.area_mass_mg_per_mm2.u > 0
    assert (found.lack_of_fit, found.intercept_mg, found.crowding_fit) == (None, None, None)


def test_intervals_hold_the_area_mass(make_portion: Make, size_mm: Size) -> None:
    """100 calibrations whose photos are off by what weights.py says; binomial sd 2.2 %."""
    rng = np.random.default_rng(9)
    held = 0
    masses = np.array([5.0, 10, 20, 40])
    u = portion_u_mg([make_portion(m) for m in masses], size_mm) / (1000 * masses)
    for _ in range(100):
        portions = [make_portion(m, factor=f) for m, f in zip(masses, rng.normal(1, u), strict=True)]
        low, high = fit_area_mass(portions, size_mm).area_mass_mg_per_mm2.interval95()
        held += low <= 1.75 <= high
    assert 0.89 <= held / 100 <= 1


def test_crowding_is_used_where_it_improves_the_fit(make_portion: Make, size_mm: Size) -> None:
    portions = [make_portion(20, cover=c, kappa=0.8) for c in (0.03, 0.03, 0.1, 0.3, 0.3)]
    found = fit_area_mass(portions, size_mm)
    assert found.crowding == pytest.approx(0.8, abs=0.01)
    assert found.area_mass_mg_per_mm2.value == pytest.approx(1.75, rel=1e-3)
    assert found.fit.covariance.shape == (2, 2)
    plain = fit_area_mass(portions, size_mm, crowding=0.8)  # the file knew it already
    assert plain.crowding == 0.8
    assert plain.crowding_fit is not None
    assert not plain.crowding_fit.adopted
    # Learning crowding as well costs certainty.
    assert found.area_mass_mg_per_mm2.u > plain.area_mass_mg_per_mm2.u


def test_a_wrong_weight_shows_as_lack_of_fit_and_widens(make_portion: Make, size_mm: Size) -> None:
    good = [make_portion(m) for m in (5, 10, 20, 20)]
    bad = [*good[:3], make_portion(20, factor=1.15)]
    found = fit_area_mass(bad, size_mm)
    assert found.lack_of_fit is not None
    assert found.fit.widening > 3
    assert found.area_mass_mg_per_mm2.u > 3 * fit_area_mass(good, size_mm).area_mass_mg_per_mm2.u
    assert found.area_mass_mg_per_mm2.dof == 3
    apart = fit_area_mass([make_portion(m, factor=f) for m, f in ((5, 1.0), (10, 1.0), (20, 1.15))], size_mm)
    assert apart.lack_of_fit is not None
    assert apart.lack_of_fit.p < 1e-6


def test_a_tare_forgotten_shows_as_an_intercept(make_portion: Make, size_mm: Size) -> None:
    portions = [make_portion(m, factor=(m - 2) / m) for m in (5.0, 10, 20, 40)]  # 2 g of each are the cup's
    found = fit_area_mass(portions, size_mm)
    assert found.intercept_mg is not None
    assert found.intercept_mg.value == pytest.approx(2000, rel=0.01)
    assert found.intercept_mg.interval95()[0] > 0


def test_what_is_read_off_holds_the_fit_and_the_photo(make_portion: Make, size_mm: Size) -> None:
    portions = [make_portion(m) for m in (5, 10, 20)]
    found = fit_area_mass(portions, size_mm)
    later = read_off(found, portions, 10.0, size_mm)
    fit_alone = 10 * found.area_mass_mg_per_mm2.u / found.area_mass_mg_per_mm2.value
    assert later.value == 10
    assert later.u > fit_alone
    assert read_off(found, portions, 1.0, size_mm).u / 1.0 > later.u / 10  # fewer grains average worse
    crowded = [make_portion(20, cover=c, kappa=0.8) for c in (0.03, 0.03, 0.1, 0.3, 0.3)]
    found = fit_area_mass(crowded, size_mm)
    assert read_off(found, crowded, 20.0, size_mm).u > 0


def test_a_grain_weighs_what_counts_say(make_portion: Make, size_mm: Size) -> None:
    portions = [make_portion(m, grains=31.9) for m in (5, 10, 20)]
    counted = fit_grain_mass(portions, size_mm).counted_mg
    assert counted is not None
    assert counted.value == pytest.approx(31.9, rel=0.003)
    assert counted.interval95()[0] < 31.9 < counted.interval95()[1]


def test_a_thousand_grains_agree_or_do_not(make_portion: Make, size_mm: Size) -> None:
    portions = [make_portion(m, grains=31.9) for m in (5, 10, 20)]
    same = fit_grain_mass(portions, size_mm, Quantity(31.9, 0.1))
    other = fit_grain_mass(portions, size_mm, Quantity(25.0, 0.1))
    assert same.zeta is not None
    assert abs(same.zeta) < 1
    assert other.zeta is not None
    assert other.zeta > 2
    # By hand, ISO 13528:2022, 9.6.
    assert other.counted_mg is not None
    assert other.thousand_mg is not None
    u = math.hypot(other.counted_mg.u, other.thousand_mg.u)
    assert other.zeta == pytest.approx((other.counted_mg.value - 25.0) / u)
    assert other.best_mg == other.counted_mg
    assert same.best_mg is not None
    assert same.counted_mg is not None
    assert same.thousand_mg is not None
    assert same.best_mg.u < min(same.counted_mg.u, same.thousand_mg.u)


def test_grains_too_fine_to_count_leave_the_thousand(make_portion: Make, size_mm: Size) -> None:
    found = fit_grain_mass([make_portion(5)], size_mm, Quantity(16.7, 0.1))
    assert (found.counted_mg, found.zeta) == (None, None)
    assert found.best_mg is not None
    assert found.best_mg.value == 16.7
    assert found.best_mg.u > 0.1  # those thousand are a sample
    assert fit_grain_mass([make_portion(5)], size_mm).best_mg is None


def test_repeats_have_one_weight_and_density(make_portion: Make) -> None:
    portions = [
        make_portion(g, cover=c) for g, c in ((5, 0.05), (10, 0.05), (10, 0.055), (10, 0.2), (5, 0.05), (10, 0.19))
    ]
    assert repeats(portions) == [0, 1, 1, 2, 0, 2]
