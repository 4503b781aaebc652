"""Weighings against published figures; the data in tests/data say where they come from.

*Published*: NIST/ITL Statistical Reference Datasets, univariate (certified to 15 digits); JCGM 100:2008, 4.4.3, 5.2.2
and table G.2; JCGM 101:2008, 9.3; EA-4/02, example S2 (from memory); OIML R 76-1, table 6. *Derived* from JCGM 100 are the figures of
weighing by difference with the digit alone.
"""

import csv
import math
from pathlib import Path

import numpy as np
import pytest

from debriscount.inputs.weighing import Net, Scale, Weighing
from debriscount.scale.pickup import weighed_pickup
from debriscount.scale.readings import Masses, ScaleErrors, masses, net_masses, scale_errors
from debriscount.stats.quantity import Quantity, coverage_factor95
from debriscount.stats.repeats import mean_and_spread

DATA = Path(__file__).parents[1] / "data"


def table(name: str) -> list[dict[str, str]]:
    with (DATA / name).open(encoding="utf-8", newline="") as lines:
        assert next(lines).startswith("# Source:")
        return list(csv.DictReader(lines))


def independent(**u_by_name: float) -> Masses:
    """Masses of 0 with standard uncertainties of their own."""
    covariance = np.diag(np.square(list(u_by_name.values())))
    return Masses(
        names=tuple(u_by_name),
        grams=np.zeros(len(u_by_name)),
        covariance=covariance,
        repeats=np.zeros_like(covariance),
        dof=math.inf,
    )


def test_michelso() -> None:
    mean, spread = mean_and_spread(float(row["y"]) for row in table("nist_michelso.csv"))
    assert mean == pytest.approx(299.852400000000, rel=1e-15)
    assert spread == pytest.approx(0.0790105478190518, rel=1e-12)


# What 64-bit numbers can hold of the data leaves so many digits of the spread: NumAcc4's readings are off by 1e-9 of it.
@pytest.mark.parametrize(("name", "digits"), [("NumAcc1", 15), ("NumAcc2", 14), ("NumAcc3", 9), ("NumAcc4", 8)])
def test_stiff_repeats(name: str, digits: int) -> None:
    row = next(row for row in table("nist_numacc.csv") if row["dataset"] == name)
    pair = [float(row["then_alternating_a"]), float(row["then_alternating_b"])]
    mean, spread = mean_and_spread([float(row["first"]), *pair * int(row["repeats_of_pair"])])
    assert mean == pytest.approx(float(row["certified_mean"]), rel=1e-15)
    assert spread == pytest.approx(float(row["certified_sd"]), rel=10.0**-digits)


def test_twenty_readings() -> None:
    """JCGM 100, 4.4.3: mean 100.145, s 1.489, s of the mean 0.333; read as masses of one load."""
    readings = tuple(float(row["t"]) for row in table("gum_4_4_3.csv"))
    mean, spread = mean_and_spread(readings)
    assert (round(mean, 3), round(spread, 3)) == (100.145, 1.489)
    errors = ScaleErrors(
        digit_g=0.0, zero_g=0.0, repeatability_g=spread, repeatability_dof=19.0, walk_g=0.0, factor=0.0
    )
    mass = net_masses({"load": Net(readings)}, errors).combined({"load": 1.0})
    assert (round(mass.u, 3), mass.dof) == (0.333, 19.0)


@pytest.mark.parametrize(
    ("dof", "factor"),
    [(1, 12.71), (2, 4.30), (3, 3.18), (4, 2.78), (5, 2.57), (10, 2.23), (19, 2.09), (50, 2.01), (math.inf, 1.960)],
)
def test_coverage_factors(dof: float, factor: float) -> None:
    """JCGM 100, table G.2, 95 %; values from memory, to the digits printed."""
    assert coverage_factor95(dof) == pytest.approx(factor, abs=5e-3)


def test_ten_masses_off_by_one_factor_add_their_errors_up() -> None:
    """JCGM 100, 5.2.2: ten resistors of 1000 Ω, each 0.1 Ω from one standard, have u = 1 Ω, not 0.32 Ω; as masses."""
    errors = ScaleErrors(
        digit_g=0.0, zero_g=0.0, repeatability_g=0.0, repeatability_dof=math.inf, walk_g=0.0, factor=1e-4
    )
    ten = net_masses({str(n): Net((1000.0,)) for n in range(10)}, errors)
    assert ten.combined({str(n): 1.0 for n in range(10)}).u == pytest.approx(1.0)


def test_mass_calibration_of_first_order() -> None:
    """JCGM 101, 9.3, table 6, GUM framework: 1.2340 mg, u 0.0539 mg, [1.1285, 1.3395] mg."""
    u = independent(m_r=0.050, dm_r=0.020).combined({"m_r": 1.0, "dm_r": 1.0}).u
    assert u == pytest.approx(0.0539, abs=5e-5)
    assert Quantity(1.2340, u).interval95() == pytest.approx((1.1285, 1.3395), abs=6e-5)


def test_calibration_of_a_weight() -> None:
    """EA-4/02, S2, from memory: 22.5, 8.66, 14.4, 5.77 and 5.77 mg make U = 58 mg, here within 1 mg.

    *By hand*: the root of the sum of their squares is 29.24 mg.
    """
    parts = independent(standard=22.5, drift=8.66, comparator=14.4, eccentricity=5.77, buoyancy=5.77)
    u = parts.combined(dict.fromkeys(parts.names, 1.0)).u
    assert u == pytest.approx(29.24, abs=5e-3)
    assert 2 * u == pytest.approx(58, abs=1)


def test_the_digit() -> None:
    """JCGM 100, F.2.2.1: u = 0.29 d; for 0.01 g 0.0028868 g."""
    assert scale_errors(Weighing(Scale(0.01), Net((1.0,)))).digit_g == pytest.approx(0.0028868, abs=5e-8)


@pytest.mark.parametrize(
    ("step_g", "portion_g", "pickup", "points"), [(0.1, 20, 0.875, 0.27), (0.1, 5, 0.8, 1.05), (0.01, 20, 0.875, 0.027)]
)
def test_pickup_by_difference_with_the_digit_alone(
    step_g: float, portion_g: float, pickup: float, points: float
) -> None:
    """*Derived*: u(P) = √2 d/√12 √(1 + P²)/m."""
    run = Weighing(
        Scale(step_g, 0.0, 0.0), Net((100.0 + portion_g,), (100.0,)), bin=Net((300.0 + pickup * portion_g,), (300.0,))
    )
    found = weighed_pickup(run).pickup_percent
    assert found is not None
    assert found.value == pytest.approx(100 * pickup)
    assert found.u == pytest.approx(points, rel=0.02)  # half of the last digit given


@pytest.mark.parametrize("step_g", [0.01, 0.1, 1.0])
def test_a_kitchen_scale_is_no_better_than_twice_the_permissible_error(step_g: float) -> None:
    """OIML R 76-1, table 6, class III: its greatest error at the end of each step of load, doubled in service."""
    for row in table("oiml_r76_mpe.csv"):
        most = int(row["class_III"].rpartition("-")[2])
        load = masses(Weighing(Scale(step_g), Net((most * step_g,)))).covariance[0, 0]
        other = masses(Weighing(Scale(step_g, linearity_g=0.0), Net((most * step_g,)))).covariance[0, 0]
        allowed_g = 2 * float(row["mpe_e"]) * step_g
        walked_g = math.sqrt(3 * (load - other))
        assert walked_g >= allowed_g * (1 - 1e-9)
        if most <= 2000:
            assert walked_g == pytest.approx(allowed_g)
