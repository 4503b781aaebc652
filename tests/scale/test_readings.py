import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from debriscount.inputs.weighing import Net, Scale, Weighing
from debriscount.scale.readings import ScaleErrors, masses, net_masses, scale_errors

NONE = ScaleErrors(digit_g=0.0, zero_g=0.0, repeatability_g=0.0, repeatability_dof=math.inf, walk_g=0.0, factor=0.0)
EXACT = Scale(0.1, 0.0, 0.0)


def weighing(scale: Scale = EXACT, full: tuple[float, ...] = (150.0,), **more: object) -> Weighing:
    return Weighing(scale, Net(full, (100.0,)), **more)  # type: ignore[arg-type]


def test_the_digit_counts_once_a_reading_and_repeats_do_not_better_it() -> None:
    one, many = (masses(weighing(full=(150.0,) * n)).combined({"dispensed": 1.0}) for n in (1, 9))
    assert one.u == pytest.approx(0.1 * math.sqrt(2 / 12))
    assert many == one
    assert (one.value, one.dof) == (50.0, math.inf)


def test_a_scale_set_to_zero_has_a_zero_within_a_quarter_step() -> None:
    only_digit = replace(NONE, digit_g=0.12, zero_g=0.05)
    assert net_masses({"a": Net((3.0,))}, only_digit).combined({"a": 1.0}).u == pytest.approx(0.13)
    assert scale_errors(weighing()).zero_g == pytest.approx(0.025 / math.sqrt(3))


def test_repeats_better_the_repeatability() -> None:
    noisy = replace(NONE, repeatability_g=0.3)
    net = Net((5.0, 5.1, 4.9, 5.0), (1.0,))
    assert net_masses({"a": net}, noisy).combined({"a": 1.0}).u == pytest.approx(0.3 * math.sqrt(1 / 4 + 1))


def test_repeats_tell_the_repeatability_that_is_not_stated() -> None:
    usual = scale_errors(weighing(Scale(0.1)))
    assert usual.repeatability_g == pytest.approx(0.0325, abs=1e-4)
    assert usual.repeatability_dof == 2
    steady = scale_errors(weighing(Scale(0.1), (150.0,) * 7))
    assert steady.repeatability_g == pytest.approx(usual.repeatability_g * math.sqrt(2 / 8))
    assert steady.repeatability_dof == 8
    assert scale_errors(weighing(Scale(0.1), (149.0, 151.0))).repeatability_g > 0.8
    assert scale_errors(weighing(Scale(0.1, 0.05), (149.0, 151.0))).repeatability_g == 0.05


def test_degrees_of_freedom_are_those_of_the_repeatability_alone() -> None:
    both = replace(NONE, digit_g=0.3, repeatability_g=0.4, repeatability_dof=5.0)
    mass = net_masses({"a": Net((5.0,), (1.0,))}, both).combined({"a": 1.0})
    assert mass.u == pytest.approx(0.5 * math.sqrt(2))
    # JCGM 100, G.4.1: u⁴/(0.4⁴ (√2)⁴/5)
    assert mass.dof == pytest.approx(5 * (0.5 / 0.4) ** 4)


def test_a_stated_linearity_is_reached_at_the_capacity_or_the_heaviest_load() -> None:
    walk = Scale(0.1, 0.0, 0.3)
    by_load = scale_errors(weighing(walk, bin=Net((400.0,), (350.0,))))
    assert by_load.walk_g * 400 == pytest.approx(0.3**2 / 3)
    by_capacity = scale_errors(weighing(replace(walk, capacity_g=2000.0)))
    assert by_capacity.walk_g * 2000 == pytest.approx(0.3**2 / 3)


def test_differences_share_the_error_of_the_loads_that_both_span() -> None:
    walk = replace(NONE, walk_g=1e-4)
    nets = {
        "low": Net((150.0,), (100.0,)), "half": Net((175.0,), (125.0,)), "apart": Net((260.0,), (200.0,)),
        "down": Net((100.0,), (150.0,)),
    }  # fmt: skip
    expected = 1e-4 * np.array([[50, 25, 0, -50], [25, 50, 0, -25], [0, 0, 60, 0], [-50, -25, 0, 50]])
    np.testing.assert_allclose(net_masses(nets, walk).covariance, expected, atol=1e-15)


def test_a_common_factor_cancels_between_equal_masses() -> None:
    factor = replace(NONE, factor=0.01)
    both = net_masses({"a": Net((50.0,)), "b": Net((250.0,), (200.0,))}, factor)
    assert both.combined({"a": 1.0}).u == pytest.approx(0.5)
    assert both.combined({"a": 1.0, "b": -1.0}).u == pytest.approx(0.0, abs=1e-9)


loads = st.floats(0, 5000)
nets = st.builds(lambda a, b: Net((a,), (b,)), loads, loads)


@given(several=st.lists(nets, min_size=1, max_size=6))
def test_covariance_can_be_one(several: list[Net]) -> None:
    errors = ScaleErrors(
        digit_g=0.03, zero_g=0.01, repeatability_g=0.05, repeatability_dof=4.0, walk_g=1e-4, factor=1e-3
    )
    covariance = net_masses({str(n): net for n, net in enumerate(several)}, errors).covariance
    np.testing.assert_array_equal(covariance, covariance.T)
    assert np.linalg.eigvalsh(covariance).min() > -1e-9


def test_the_walk_is_what_simulated_scales_do() -> None:
    """Covariance of differences of a walk summed step by step, 20,000 scales: independent of the overlap formula."""
    rng = np.random.default_rng(5)
    walk = np.concatenate([np.zeros((20_000, 1)), rng.normal(0, 0.01, (20_000, 40)).cumsum(axis=1)], axis=1)
    ends = [(10, 30), (20, 40), (25, 5)]
    simulated = np.cov([walk[:, gross] - walk[:, tare] for tare, gross in ends])
    nets = {str(n): Net((float(gross),), (float(tare),)) for n, (tare, gross) in enumerate(ends)}
    stated = net_masses(nets, replace(NONE, walk_g=1e-4)).covariance
    np.testing.assert_allclose(stated, simulated, atol=1e-4)
