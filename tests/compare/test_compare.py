from collections.abc import Callable

import numpy as np
import pytest
from scipy.stats import ttest_ind, ttest_rel

from debriscount.compare.compare import compare
from debriscount.compare.labels import CampaignRun
from debriscount.compare.selected import Choice
from debriscount.errors import CompareError

from .conftest import filed_run, named

MakeRuns = Callable[..., list[CampaignRun]]
A, B = [81.2, 79.4, 83.1, 80.0], [75.0, 77.9, 76.2]


def test_two_machines_differ_as_a_general_library_says(make_runs: MakeRuns) -> None:
    (found,) = compare(make_runs(B=B, A=A), "machine").differences
    beside = ttest_ind(A, B, equal_var=False)
    interval = beside.confidence_interval(0.95)
    assert (found.first, found.second, found.n) == ("A", "B", (4, 3))
    assert found.value == pytest.approx(np.mean(A) - np.mean(B))
    assert found.interval95 == pytest.approx((interval.low, interval.high))
    assert found.chance == pytest.approx(beside.pvalue)
    assert found.told
    assert found.paired is None


def test_blocks_that_all_levels_share_are_compared_within() -> None:
    days = [0.0, 8.0, -5.0, 3.0]
    a, b = [80 + d + e for d, e in zip(days, (0.2, -0.1, 0.1, 0.0), strict=True)], [78 + d for d in days]
    runs = named(
        [filed_run(i + 1, v, machine="A", block=str(i)) for i, v in enumerate(a)]
        + [filed_run(i + 5, v, machine="B", block=str(i)) for i, v in enumerate(b)]
    )
    (found,) = compare(runs, "machine").differences
    assert found.paired == 4
    assert found.chance == pytest.approx(ttest_rel(a, b).pvalue)
    assert found.told
    (alone,) = compare(runs, "machine", block=None).differences
    assert alone.paired is None
    assert not alone.told  # what days have in common drowns it


def test_blocks_that_a_level_lacks_are_not_used_and_that_is_said() -> None:
    runs = named(
        [filed_run(i + 1, 80.0 + i, machine="A", block=str(i)) for i in range(4)]
        + [filed_run(i + 5, 70.0 + i, machine="B", block=str(i)) for i in range(3)]
    )
    found = compare(runs, "machine")
    assert found.differences[0].paired is None
    assert "not every level has runs in each block" in found.warnings[0]


def test_repeats_within_a_block_are_averaged_first() -> None:
    rows = [("A", "1", 80.0), ("A", "1", 82.0), ("A", "2", 90.0), ("B", "1", 78.0), ("B", "2", 86.0)]
    runs = named([filed_run(i + 1, v, machine=m, block=b) for i, (m, b, v) in enumerate(rows)])
    (found,) = compare(runs, "machine").differences
    assert found.paired == 2
    assert found.value == pytest.approx(((81 - 78) + (90 - 86)) / 2)


def test_levels_are_compared_within_others_and_all_chances_adjusted_together() -> None:
    rng = np.random.default_rng(2)
    runs = [
        filed_run(10 * i + j, 80 + 3 * (brush == "a") + rng.normal(), machine=machine, settings={"brush": brush})
        for i, (machine, brush) in enumerate([("A", "a"), ("A", "b"), ("B", "a"), ("B", "b")])
        for j in range(1, 5)
    ]
    found = compare(named(runs), "setting.brush", ["machine"])
    assert [one.within for one in found.differences] == [("A",), ("B",)]
    for one in found.differences:
        assert one.chance is not None
        assert one.adjusted is not None
        assert one.chance <= one.adjusted <= 2 * one.chance + 1e-12


def test_ranks_are_shared_by_what_cannot_be_told_apart(make_runs: MakeRuns) -> None:
    found = compare(make_runs(A=[90.0, 90.4, 89.7], B=[89.9, 90.1, 90.3], C=[70.0, 70.2, 69.9]), "machine")
    assert found.ranks == {("A",): 1, ("B",): 1, ("C",): 3}


def test_a_single_run_tells_nothing_and_costs_the_others_nothing(make_runs: MakeRuns) -> None:
    with_one = compare(make_runs(A=A, B=B, C=[50.0]), "machine")
    (ab,) = (one for one in with_one.differences if {one.first, one.second} == {"A", "B"})
    assert ab.adjusted == ab.chance
    others = [one for one in with_one.differences if one is not ab]
    assert all(one.interval95 is None and one.chance is None and not one.told for one in others)


def test_a_run_at_the_ceiling_makes_a_difference_at_least(make_runs: MakeRuns) -> None:
    runs = named(
        [filed_run(i, 99.8, at_least=99.0, machine="A") for i in (1, 2, 3)]
        + [filed_run(i, v, machine="B") for i, v in ((4, 89.0), (5, 90.0), (6, 91.0))]
    )
    (found,) = compare(runs, "machine").differences
    assert (found.first, found.bound, found.told) == ("A", "at least", True)
    assert found.value == pytest.approx(9.0)
    assert found.more_runs is None
    low, high = found.interval95 or (0, 0)
    assert low < 9 < high
    assert high > 10 + 4.3 * 1 / 3**0.5 - 0.01  # were all of them at 100


def test_two_at_the_ceiling_are_not_told_apart() -> None:
    runs = named(
        [filed_run(i, 99.9, at_least=99.5, machine="A") for i in (1, 2, 3)]
        + [filed_run(i, 99.8, at_least=99.0, machine="B") for i in (4, 5, 6)]
    )
    (found,) = compare(runs, "machine").differences
    assert (found.bound, found.told, found.chance) == ("unknown", False, 1.0)


def test_how_many_runs_would_tell(make_runs: MakeRuns) -> None:
    """Standard deviation 2 of both, three points, 80 %: nine runs each, as Cohen's d of 1.5 asks for."""
    runs = make_runs(A=[78.0, 80.0, 82.0], B=[77.0, 79.0, 81.0])
    assert compare(runs, "machine").differences[0].more_runs == 9
    assert (compare(runs, "machine", power=0.9).differences[0].more_runs or 0) > 9
    assert (compare(runs, "machine", wanted=6.0).differences[0].more_runs or 9) < 9


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ({"factor": "floor"}, 'there is nothing to compare: floor is "oak" in all runs'),
        ({"factor": "machine", "wanted": 0.0}, "the wanted difference must be above 0"),
        ({"factor": "machine", "block": "blok"}, "Did you mean block"),
        ({"factor": "machine", "block": "zone"}, "Give one of"),
    ],
)
def test_what_cannot_be_compared(make_runs: MakeRuns, arguments: dict[str, object], words: str) -> None:
    with pytest.raises(CompareError, match=words):
        compare(make_runs(A=A, B=B), **arguments)  # type: ignore[arg-type]


def test_zones_are_compared_like_anything_else() -> None:
    from .conftest import filed_figure

    runs = named(
        [filed_run(i, zones={"open": filed_figure(90.0 + i), "edge": filed_figure(60.0 + i)}) for i in (1, 2, 3)]
    )
    (found,) = compare(runs, "zone", choice=Choice(zones=("open", "edge")), block=None).differences
    assert found.first == "open"
    assert found.second == "edge"
    assert found.value == pytest.approx(30)
