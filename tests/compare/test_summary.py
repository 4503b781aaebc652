import math
from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from debriscount.compare.labels import CampaignRun
from debriscount.compare.summary import summarise

from .conftest import filed_run, named

MakeRuns = Callable[..., list[CampaignRun]]


def test_a_group_by_hand(make_runs: MakeRuns) -> None:
    """Three runs 78, 80, 82: mean 80, sd 2, interval by Student's t with two degrees of freedom, 4.303 · 2/√3."""
    (group,) = summarise(make_runs(A=[78.0, 80.0, 82.0]), ["machine"]).groups
    assert group.n == 3
    assert group.mean == pytest.approx(80)
    assert group.sd == pytest.approx(2)
    half = 4.30265 * 2 / math.sqrt(3)
    assert group.interval95 == pytest.approx((80 - half, 80 + half), abs=1e-4)
    assert group.limit == pytest.approx(5.6)
    assert (group.smallest, group.largest) == (78, 82)
    # Measured with 0.8 points each: of a variance of 4 that explains 0.64.
    assert group.u == pytest.approx(0.8)
    assert group.explained == pytest.approx(0.16)


def test_common_repeatability_is_pooled_over_groups(make_runs: MakeRuns) -> None:
    summary = summarise(make_runs(A=[78.0, 80.0, 82.0], B=[60.0, 61.0], C=[50.0]), ["machine"])
    assert summary.dof == 3
    assert summary.repeatability == pytest.approx(math.sqrt((2 * 4 + 0.5) / 3))
    single = summary.groups[2]
    assert (single.sd, single.interval95, single.limit) == (None, None, None)


def test_a_run_that_stands_apart_is_named_and_counted(make_runs: MakeRuns) -> None:
    (group,) = summarise(make_runs(A=[80.0, 80.5, 79.6, 80.2, 60.0]), ["machine"]).groups
    assert group.n == 5
    assert group.odd is not None
    assert (group.odd.name, group.odd.outlier) == ("5", True)
    (calm,) = summarise(make_runs(A=[80.0, 81.0, 79.0, 80.2]), ["machine"]).groups
    assert calm.odd is None


def test_a_group_that_scatters_more_is_named(make_runs: MakeRuns) -> None:
    runs = make_runs(A=[80.0, 80.2, 79.9], B=[70.0, 70.1, 69.8], C=[40.0, 60.0, 80.0])
    odd = summarise(runs, ["machine"]).odd
    assert odd is not None
    assert odd.name == "C"


def test_runs_at_the_ceiling_are_not_averaged_away() -> None:
    runs = named([filed_run(1, 98.0), filed_run(2, 99.9, at_least=99.4), filed_run(3, 99.9, at_least=99.4)])
    (group,) = summarise(runs).groups
    assert (group.at_ceiling, group.sd, group.limit, group.odd) == (2, None, None, None)
    assert group.mean == pytest.approx((98 + 2 * 99.4) / 3)
    low, high = group.interval95 or (0, 0)
    # By hand: as wide as the lower of both ends and the upper of both, 98 with 99.4 twice and with 100 twice.
    for end in (99.4, 100.0):
        values = np.array([98.0, end, end])
        half = 4.30265 * values.std(ddof=1) / math.sqrt(3)
        assert low <= values.mean() - half + 1e-6
        assert high >= min(100.0, values.mean() + half) - 1e-6
    assert high == 100.0


def test_near_the_ceiling_it_is_said(make_runs: MakeRuns) -> None:
    near, far = (summarise(make_runs(A=values)).groups[0] for values in ([98.0, 99.0, 99.5], [88.0, 89.0, 89.5]))
    assert near.near_ceiling
    assert not far.near_ceiling


def test_an_interval_ends_at_100(make_runs: MakeRuns) -> None:
    (group,) = summarise(make_runs(A=[99.0, 90.0])).groups
    assert group.interval95 is not None
    assert group.interval95[1] == 100.0


def test_doubtful_runs_are_named() -> None:
    (group,) = summarise(named([filed_run(1), filed_run(2, 81.0, trust="doubtful")])).groups
    assert group.doubtful == ("2",)


@settings(deadline=None)
@given(st.lists(st.floats(20, 90), min_size=2, max_size=8))
def test_the_order_of_runs_does_not_matter(values: list[float]) -> None:
    there, back = (
        summarise(named([filed_run(i + 1, v) for i, v in enumerate(order)])).groups[0]
        for order in (values, values[::-1])
    )
    assert there.mean == pytest.approx(back.mean)
    assert there.sd == pytest.approx(back.sd)
    low, high = there.interval95 or (math.inf, -math.inf)
    assert low <= there.mean <= high
