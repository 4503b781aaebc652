"""The Monte Carlo engine against the worked examples of JCGM 101:2008, clause 9."""

from collections.abc import Callable

import numpy as np
import pytest
from numpy.typing import NDArray

from debriscount.stats.montecarlo import Draw, Draws, propagate

TRIALS = 400_000


def normal(mean: float, u: float) -> Draw:
    return lambda rng, n: rng.normal(mean, u, n)


def rectangular(low: float, high: float) -> Draw:
    return lambda rng, n: rng.uniform(low, high, n)


def added(draws: Draws) -> NDArray[np.float64]:
    return np.asarray(sum(draws.values()))[:, None]


def four(make: Callable[[], Draw]) -> dict[str, Draw]:
    return {f"x{i}": make() for i in range(4)}


def test_the_sum_of_four_normal_quantities() -> None:
    """*Published*: JCGM 101, 9.2.2: u = 2.00, interval ±3.92."""
    result = propagate(added, four(lambda: normal(0, 1)), TRIALS, 1)
    assert result.u[0] == pytest.approx(2.00, abs=0.01)
    np.testing.assert_allclose(result.interval95[0], [-3.92, 3.92], atol=0.03)
    for u in result.by_source.values():
        assert u[0] == pytest.approx(1, abs=0.01)


def test_the_sum_of_four_rectangular_quantities() -> None:
    """*Published*: JCGM 101, 9.2.3: u = 2.00, interval ±3.88."""
    result = propagate(added, four(lambda: rectangular(-np.sqrt(3), np.sqrt(3))), TRIALS, 2)
    assert result.u[0] == pytest.approx(2.00, abs=0.01)
    np.testing.assert_allclose(result.interval95[0], [-3.88, 3.88], atol=0.03)


def test_one_rectangular_quantity_that_dominates() -> None:
    """*Published*: JCGM 101, 9.2.4: u = 10.1, interval ±17.0, where a normal distribution would say ±19.9."""
    sources = four(lambda: rectangular(-np.sqrt(3), np.sqrt(3)))
    sources["x3"] = rectangular(-10 * np.sqrt(3), 10 * np.sqrt(3))
    result = propagate(added, sources, TRIALS, 3)
    assert result.u[0] == pytest.approx(10.1, abs=0.05)
    np.testing.assert_allclose(result.interval95[0], [-17.0, 17.0], atol=0.1)


def test_the_calibration_of_a_weight() -> None:
    """*Published*: JCGM 101, 9.3, tables 5 and 6 (model, inputs and u; the means from memory): mean 1.2341, u 0.0754 mg.

    A linear propagation gives 0.0539; the interval's ends wander, so only mean and u are compared.
    """

    def model(d: Draws) -> NDArray[np.float64]:
        buoyancy = 1 + (d["air"] - 1.2) * (1 / d["weight"] - 1 / d["reference"])
        return ((d["m"] + d["dm"]) * buoyancy - 100_000)[:, None]

    sources = {
        "m": normal(100_000, 0.050),
        "dm": normal(1.234, 0.020),
        "air": rectangular(1.10, 1.30),
        "weight": rectangular(7000, 9000),
        "reference": rectangular(7950, 8050),
    }
    result = propagate(model, sources, TRIALS, 4)
    assert result.mean[0] == pytest.approx(1.2341, abs=0.0005)
    assert result.u[0] == pytest.approx(0.0754, abs=0.0003)


def test_a_factor_common_to_both_areas_cancels_in_their_ratio() -> None:
    """*By hand* from JCGM 100, eq. 13: before 100 ± 1, after 20 ± 0.5, a common gain of 5 %: u(P) = 0.0053852."""

    def model(d: Draws) -> NDArray[np.float64]:
        return (1 - d["gain"] * d["after"] / (d["gain"] * d["before"]))[:, None]

    sources = {"before": normal(100, 1), "after": normal(20, 0.5), "gain": normal(1, 0.05)}
    result = propagate(model, sources, TRIALS, 5)
    assert result.u[0] == pytest.approx(0.0053852, rel=0.01)
    assert result.by_source["gain"][0] == pytest.approx(0, abs=1e-12)


def test_the_same_seed_gives_the_same_figures() -> None:
    first, second = (propagate(added, four(lambda: normal(0, 1)), 1000, 7) for _ in range(2))
    np.testing.assert_array_equal(first.interval95, second.interval95)


def test_covariance_of_outputs_that_share_a_source() -> None:
    """*By hand*: of x + y and x - 2 z, all of u = 1, variances are 2 and 5, and x alone is shared: covariance 1."""
    sources = {name: normal(0, 1) for name in "xyz"}

    def model(draws: Draws) -> NDArray[np.float64]:
        return np.stack([draws["x"] + draws["y"], draws["x"] - 2 * draws["z"]], axis=1)

    result = propagate(model, sources, 50_000, 6)
    np.testing.assert_allclose(result.covariance, [[2, 1], [1, 5]], atol=0.08)
