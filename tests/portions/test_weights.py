import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from debriscount.portions.weights import (
    LIGHT,
    area_mass_spread,
    grain_mass_spread,
    grains_by_area,
    size_spread,
    u_from_line_mg,
)


@settings(max_examples=20)
@given(st.floats(0.1, 10), st.floats(1.0, 2.0))
def test_spreads_are_those_of_lognormal_diameters(small: float, ratio: float) -> None:
    """Independent: the moments of a million-fold sample through both percentiles."""
    size = (small, small * ratio)
    z = np.sort(np.random.default_rng(1).standard_normal(200_000))
    d = np.sqrt(size[0] * size[1]) * np.exp(size_spread(size) * z)
    assert np.quantile(d, [0.05, 0.95]) == pytest.approx(size, rel=0.02)
    assert area_mass_spread(size) == pytest.approx(float(d.std() / d.mean()), abs=0.01)
    mass = d**3
    assert grain_mass_spread(size) == pytest.approx(float(mass.std() / mass.mean()), rel=0.08, abs=0.01)
    area = np.pi / 4 * d**2
    alike = float(area.sum() ** 2 / (area**2).sum())
    assert grains_by_area(float(area.sum()), size) == pytest.approx(alike, rel=0.03)


def test_the_variances_of_a_portion_add_up() -> None:
    """By hand: grains of one size leave the scale, the light over the root of the photos, and the floor."""
    u = u_from_line_mg(1000.0, 3.0, 500.0, 2.0, 4, (5.0, 5.0))
    assert u == pytest.approx(math.hypot(3.0, 1000 * LIGHT / 2, 1000 / 500 * 2.0))


def test_more_grains_average_better() -> None:
    few, many = (u_from_line_mg(m, 0.0, m, 0.0, 1, (3.0, 6.0)) / m for m in (200.0, 20_000.0))
    assert few > 2 * many > 2 * LIGHT
