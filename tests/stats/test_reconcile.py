"""Reconciled values against worked examples and closed forms."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from debriscount.stats.quantity import Quantity
from debriscount.stats.reconcile import reconcile

u = st.floats(0.05, 20)


def test_flows_of_a_published_example() -> None:
    """*Published* (from memory): Narasimhan and Jordache, Data Reconciliation and Gross Error Detection (2000), table
    1-1: a stream parts and joins again; all measurements have the variance 1.
    """
    measured = [101.91, 64.45, 34.65, 64.20, 36.44, 98.88]
    balances = [[1, -1, -1, 0, 0, 0], [0, 1, 0, -1, 0, 0], [0, 0, 1, 0, -1, 0], [0, 0, 0, 1, 1, -1]]
    found = reconcile(measured, np.eye(6), balances)
    assert found.values == pytest.approx([100.22, 64.50, 35.72, 64.50, 35.72, 100.22], abs=0.006)
    assert np.asarray(balances) @ found.values == pytest.approx(0, abs=1e-9)


@given(st.floats(0, 100), st.floats(0, 100), u, u, st.floats(-0.9, 0.9))
def test_two_correlated_readings_have_the_closed_form_of_their_best_mean(
    a: float, b: float, u_a: float, u_b: float, r: float
) -> None:
    """*Published* (from memory): L. Lyons, D. Gibaut, P. Clifford, Nucl. Instr. Meth. A 270 (1988) 110-117: weight of
    the first (u_b² - r u_a u_b)/S and variance u_a² u_b² (1 - r²)/S with S = u_a² + u_b² - 2 r u_a u_b.
    """
    shared = r * u_a * u_b
    s = u_a**2 + u_b**2 - 2 * shared
    w = (u_b**2 - shared) / s
    found = reconcile([a, b], [[u_a**2, shared], [shared, u_b**2]], [[1, -1]])
    assert found.values == pytest.approx([w * a + (1 - w) * b] * 2, abs=1e-7)
    assert found.covariance == pytest.approx(np.full((2, 2), u_a**2 * u_b**2 * (1 - r**2) / s), rel=1e-6, abs=1e-9)


def test_independent_readings_have_the_weighted_mean_and_a_known_total_is_met() -> None:
    found = reconcile([10.0, 12.0], np.diag([1.0, 4.0]), [[1, -1]])
    assert found.values == pytest.approx([10.4, 10.4])
    assert found.covariance[0, 0] == pytest.approx(1 / (1 + 1 / 4))
    assert reconcile([1.0, 2.0], np.eye(2), [[1, 1]], [4.0]).values == pytest.approx([1.5, 2.5])


def test_what_goes_with_a_reading_moves_along() -> None:
    """A third value of correlation 1 with the first follows it wholly, one of correlation 0 stays."""
    covariance = np.array([[1.0, 0, 2.0, 0], [0, 1.0, 0, 0], [2.0, 0, 4.0, 0], [0, 0, 0, 9.0]])
    found = reconcile([10.0, 12.0, 50.0, 7.0], covariance, [[1, -1, 0, 0]])
    assert found.values == pytest.approx([11.0, 11.0, 52.0, 7.0])
    assert np.diag(found.covariance) == pytest.approx([0.5, 0.5, 2.0, 9.0])


def test_degrees_of_freedom_after_welch_and_satterthwaite() -> None:
    """JCGM 100, G.4.1: half the weight on a reading of 4 degrees of freedom, as uncertain as the other: 4 x 2² = 16."""
    measured = [Quantity(10.0, 1.0), Quantity(12.0, 1.0, 4.0)]
    found = reconcile([10.0, 12.0], np.eye(2), [[1, -1]]).quantity(0, measured)
    assert (found.value, found.u, found.dof) == pytest.approx((11.0, math.sqrt(0.5), 16.0))


def test_shapes_must_fit() -> None:
    with pytest.raises(ValueError, match="do not fit"):
        reconcile([1.0, 2.0], np.eye(3), [[1, -1]])
