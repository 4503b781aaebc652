import math
from collections import Counter

import pytest

from debriscount.compare.labels import CampaignRun
from debriscount.errors import CompareError
from debriscount.plan.runs import Repeatability, earlier_repeatability, plan_runs
from debriscount.stats.power import power

from ..compare.conftest import filed_run, named

TWO = Repeatability(2.0, 20)


def test_numbers_are_those_of_the_test_that_will_be_made() -> None:
    groups = plan_runs("machine", ["A", "B"], TWO, 3.0, order="none")
    assert groups.needed == {0.8: 9, 0.9: 11}
    assert groups.each == 9
    assert groups.power == pytest.approx(power(3, 2, 9, design="welch"))
    blocks = plan_runs("machine", ["A", "B"], TWO, 3.0)
    assert blocks.power == pytest.approx(power(3, 2 * math.sqrt(2), blocks.each, design="pairs"))
    assert blocks.power >= 0.8
    assert (blocks.needed[0.9] or 0) > blocks.each


def test_several_comparisons_take_more_runs() -> None:
    two, four = (plan_runs("machine", levels, TWO, 3.0) for levels in ("AB", "ABCD"))
    assert (two.comparisons, four.comparisons) == (1, 6)
    assert four.each > two.each


def test_orders() -> None:
    drawn = plan_runs("machine", ["A", "B", "C"], TWO, 3.0, each=4, seed=5)
    assert Counter(test.level for test in drawn.tests) == {"A": 4, "B": 4, "C": 4}
    for block in range(1, 5):
        assert {test.level for test in drawn.tests if test.block == block} == {"A", "B", "C"}
    assert [test.number for test in drawn.tests] == list(range(1, 13))
    assert drawn.tests == plan_runs("machine", ["A", "B", "C"], TWO, 3.0, each=4, seed=5).tests
    mirrored = plan_runs("machine", ["A", "B"], TWO, 3.0, each=4, order="mirrored")
    assert "".join(test.level for test in mirrored.tests) == "ABBAABBA"
    assert "".join(test.level for test in plan_runs("machine", "AB", TWO, 3.0, each=2, order="none").tests) == "AABB"


def test_fewer_runs_tell_larger_differences() -> None:
    few = plan_runs("machine", ["A", "B"], TWO, 3.0, each=3)
    assert few.power < 0.5
    assert few.detectable > 6


def test_earlier_runs_that_repeat_one_another_tell_the_scatter() -> None:
    runs = named(
        [filed_run(i, v, machine="A") for i, v in ((1, 78.0), (2, 80.0), (3, 82.0))]
        + [filed_run(i, v, machine="B") for i, v in ((4, 60.0), (5, 62.0))]
        + [filed_run(6, 10.0, machine="B", floor="tile")]
    )
    found = earlier_repeatability(runs)
    assert found is not None
    assert found.sd == pytest.approx(math.sqrt((8 + 2) / 3))
    assert found.dof == 3
    assert found.u == pytest.approx(0.8)
    none: list[CampaignRun] = []
    assert earlier_repeatability(none) is None
    assert earlier_repeatability(named([filed_run(1), filed_run(2)])) is None  # one degree of freedom


@pytest.mark.parametrize(
    ("levels", "sd", "wanted", "more", "words"),
    [
        ("A", 2.0, 3.0, {}, "machine has fewer than two levels"),
        ("AB", 2.0, 0.0, {}, "the difference to tell must be above 0"),
        ("AB", 0.0, 3.0, {}, "the standard deviation of runs must be above 0"),
        ("AB", 2.0, 3.0, {"order": "odd"}, 'order "odd" is unknown'),
        ("AB", 2.0, 0.01, {}, "runs of each are out of range: 2 to 100"),
        ("AB", 2.0, 3.0, {"each": 1}, "1 runs of each are out of range"),
    ],
)
def test_out_of_range(levels: str, sd: float, wanted: float, more: dict[str, object], words: str) -> None:
    with pytest.raises(CompareError, match=words):
        plan_runs("machine", list(levels), Repeatability(sd, None), wanted, **more)  # type: ignore[arg-type]
