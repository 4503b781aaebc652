import math
from collections.abc import Callable

import numpy as np
import pytest

from debriscount.pickup.masses import crowding_factor
from debriscount.portions.crowding import (
    KAPPAS,
    area_by_crowding,
    cell_covers,
    fit_crowding,
    portion_area_mm2,
    usual_cover,
)
from debriscount.portions.records import PortionShot, WeighedPortion

Make = Callable[..., WeighedPortion]


@pytest.mark.parametrize("kappa", [0.0, 0.4, 1.0])
def test_cells_are_those_that_measuring_uses(kappa: float) -> None:
    rng = np.random.default_rng(2)
    x, y, area = rng.normal(100, 30, 400), rng.normal(100, 30, 400), rng.uniform(10, 25, 400)
    cover, cell_mm2 = cell_covers(x, y, area)
    shot = PortionShot(
        file="", sha256="", cell_cover=cover, cell_mm2=cell_mm2, bare_mm2=0.0, u_bare_mm2=0.0, grains=None, u_grains=0.0
    )
    assert cell_mm2 * cover.sum() == pytest.approx(area.sum())
    assert portion_area_mm2([shot], kappa) == pytest.approx(float((area * crowding_factor(x, y, area, kappa)).sum()))


def test_no_grains_cover_no_cells() -> None:
    none = np.zeros(0)
    assert cell_covers(none, none, none)[0].shape == (0,)


def test_photos_of_a_portion_are_averaged_less_the_bare_floor() -> None:
    shots = [
        PortionShot(
            file="",
            sha256="",
            cell_cover=np.array([0.1, 0.3]),
            cell_mm2=100.0,
            bare_mm2=bare,
            u_bare_mm2=0.0,
            grains=None,
            u_grains=0.0,
        )
        for bare in (0.0, 10.0)
    ]
    assert portion_area_mm2(shots, 0.0) == pytest.approx(35.0)
    # By hand: (0.1² + 0.3²) / 0.4.
    assert usual_cover(shots) == pytest.approx(0.25)
    # By hand, to second order at kappa = 0: q = p + kappa p² / 2.
    assert area_by_crowding(shots, 0.0) == pytest.approx(100 * (0.1**2 + 0.3**2) / 2, rel=1e-3)


def test_crowding_is_found_from_portions_of_different_density(make_portion: Make) -> None:
    covers = [0.03, 0.1, 0.25, 0.4, 0.03, 0.4]
    portions = [make_portion(20, cover=c, kappa=0.7) for c in covers]
    found = fit_crowding([p.shots for p in portions], np.full(6, 20_000.0), np.full(6, 100.0), 0.0)
    assert found is not None
    assert found.kappa == pytest.approx(0.7, abs=0.005)
    assert found.adopted
    assert found.p < 1e-6
    low, high = found.interval95
    assert low < 0.7 < high
    assert found.u == pytest.approx((high - low) / 2 / 1.96, rel=0.01)


def test_intervals_of_crowding_hold_it_and_none_is_seldom_called_some(make_portion: Make) -> None:
    """Binomial: of 50 runs 95 % ± 3.1 % (one standard deviation)."""
    rng = np.random.default_rng(5)
    for kappa in (0.0, 0.6):
        held = adopted = 0
        for _ in range(50):
            portions = [
                make_portion(20, cover=c, kappa=kappa, factor=float(rng.normal(1, 0.01)))
                for c in (0.03, 0.03, 0.1, 0.2, 0.3)
            ]
            found = fit_crowding([p.shots for p in portions], np.full(5, 20_000.0), np.full(5, 200.0), 0.0)
            assert found is not None
            held += found.interval95[0] <= kappa <= found.interval95[1]
            adopted += found.adopted
        assert held / 50 > 0.86
        assert adopted / 50 > 0.9 if kappa else adopted / 50 < 0.12


def test_portions_of_one_density_say_nothing_of_crowding(make_portion: Make) -> None:
    portions = [make_portion(m, cover=0.05, factor=f) for m, f in ((5, 1.0), (10, 1.01), (20, 0.99))]
    found = fit_crowding([p.shots for p in portions], np.array([5e3, 1e4, 2e4]), np.array([50.0, 100, 200]), 0.0)
    assert found is not None
    assert not found.adopted
    assert found.interval95 == KAPPAS
    assert found.u == math.inf


def test_two_portions_are_too_few(make_portion: Make) -> None:
    portions = [make_portion(20, cover=c, kappa=1.0) for c in (0.03, 0.3)]
    assert fit_crowding([p.shots for p in portions], np.full(2, 2e4), np.full(2, 100.0), 0.0) is None
