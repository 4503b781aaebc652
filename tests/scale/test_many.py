import math
import re
from dataclasses import replace

import numpy as np
import pytest

from debriscount.scale.many import ManyRuns, WeighedRun, judge_runs
from debriscount.stats.quantity import Quantity

U_PHOTO, U_SCALE = 0.5, 0.3


def made_up(
    n: int, seed: int = 1, *, bias: float = 0.0, slope: float = 1.0, drift: float = 0.0, scatter: float = 1.0,
    u_photo: float = U_PHOTO,
) -> list[WeighedRun]:  # fmt: skip
    """Runs of pickups 70 to 98 %, one in three days, whose true errors are those stated times ``scatter``."""
    rng = np.random.default_rng(seed)
    runs = []
    for i, truth in enumerate(rng.uniform(70, 98, n)):
        photo = rng.normal(84 + slope * (truth - 84) + bias + drift * i, u_photo * scatter)
        scale = rng.normal(truth, U_SCALE)
        runs.append(
            WeighedRun(name=f"run{i:02}", photo=Quantity(photo, u_photo), scale=Quantity(scale, U_SCALE), day=3.0 * i)
        )
    return runs


def verdicts(n: int, trials: int, **made: float) -> list[str]:
    return [judge_runs(made_up(n, seed, **made)).verdict for seed in range(trials)]


def test_runs_that_agree_may_later_go_without_weighing() -> None:
    found = judge_runs(made_up(14))
    assert found.verdict == "weighing may be left out"
    assert found.alone_u is not None
    assert found.alone_dof is not None
    half = Quantity(0, found.alone_u, found.alone_dof).expanded95
    assert found.sentences[1:] == (
        "No reason to recalibrate. The 14 runs agree as well as they should; later ones may go without weighing.",
        f"A pickup by photo alone is then right within {half:.1f} points in 95 of 100 runs, as long as floor, debris "
        "and camera stay the same.",
    )
    assert found.sentences[0].startswith("14 runs: on average photo less scale is ")
    assert found.line is not None
    assert found.disagreeing == ()


def test_a_few_runs_that_agree_are_not_enough() -> None:
    found = judge_runs(made_up(6))
    assert found.verdict == "go on weighing"
    assert found.sentences[-1].endswith("agree as well as they should; go on weighing up to 10.")
    assert (found.alone_u, found.alone_dof) == (None, None)


@pytest.mark.parametrize("n", [1, 2])
def test_too_few_runs_say_nothing(n: int) -> None:
    found = judge_runs(made_up(n))
    assert found.verdict == "too few runs"
    assert found.sentences == (
        f"It takes 3 runs to say anything about all of them; here {'is' if n == 1 else 'are'} {n}.",
    )
    assert (found.limits, found.line, found.drift, found.scatter) == (None, None, None, None)
    assert len(found.zeta) == n


@pytest.mark.parametrize(
    ("fault", "words"),
    [
        ({"bias": 2.0}, "the photo reads .* points more than the scale"),
        ({"bias": -2.0}, "the photo reads .* points less than the scale"),
        ({"slope": 0.85}, r"the difference changes with pickup \(slope 0\.8"),
        ({"drift": -0.3}, "from first to last run the photo came to read .* points less"),
    ],
)
def test_what_a_new_calibration_may_cure_is_named(fault: dict[str, float], words: str) -> None:
    found = judge_runs(made_up(14, **fault))  # type: ignore[arg-type]
    assert found.verdict == "recalibrate"
    assert found.sentences[1].startswith("Recalibrate with new portions: ")
    assert re.search(words, found.sentences[1])
    assert found.alone_u is None


def test_scatter_beyond_the_uncertainties_is_no_matter_of_calibration() -> None:
    runs = [replace(run, cause="bin residue" if i < 3 else None) for i, run in enumerate(made_up(14, scatter=4.0))]
    found = judge_runs(runs)
    assert found.verdict == "look into single runs"
    assert "differences scatter" in found.sentences[1]
    assert found.sentences[2].startswith("In 3 of them the likeliest cause is bin residue")


def test_one_bad_weighing_of_five_is_named_and_calls_for_no_calibration() -> None:
    runs = made_up(5, 3)
    bad = replace(runs[3], scale=Quantity(runs[3].scale.value + 10, U_SCALE))
    found = judge_runs([*runs[:3], bad, runs[4]])
    assert (found.verdict, found.odd) == ("look into single runs", ("run03",))
    assert found.sentences[0].startswith("run03 stands apart: there the photo reads ")
    assert found.sentences[-1] == "No reason to recalibrate. The 4 runs agree as well as they should."
    without = judge_runs([*runs[:3], runs[4]])
    assert (found.limits, found.drift, found.slope) == (without.limits, without.drift, without.slope)
    assert [run.name for run in found.runs] == [f"run{i:02}" for i in range(5)]


def test_a_bad_weighing_is_found_and_a_good_one_seldom_blamed() -> None:
    """5 % of sound sets have an odd run by the test's own word; of 200 sets that is 10, four standard errors are 12."""
    named, blamed = 0, 0
    for seed in range(200):
        runs = made_up(5, seed)
        blamed += bool(judge_runs(runs).odd)
        bad = replace(runs[2], scale=Quantity(runs[2].scale.value - 6, U_SCALE))
        named += judge_runs([*runs[:2], bad, *runs[3:]]).odd == ("run02",)
    assert named >= 180
    assert blamed <= 22


def test_a_bias_beside_a_bad_weighing_still_calls_for_calibration() -> None:
    runs = made_up(12, bias=2.0)
    bad = replace(runs[5], scale=Quantity(runs[5].scale.value + 15, U_SCALE))
    found = judge_runs([*runs[:5], bad, *runs[6:]])
    assert (found.verdict, found.odd) == ("recalibrate", ("run05",))


def test_runs_too_uncertain_to_tell_do_not_count() -> None:
    runs = made_up(6)
    vague = replace(runs[0], name="vague", scale=Quantity(runs[0].scale.value - 8, 9.0))
    found = judge_runs([vague, *runs])
    assert found.uncertain == ("vague",)
    assert found.limits == judge_runs(runs).limits
    assert any(said.endswith("by more than 6 points by chance alone: vague.") for said in found.sentences)
    assert any("which no calibration cures: look into that of vague" in said for said in found.sentences)
    blurred = replace(vague, photo=Quantity(vague.photo.value, 10.0))
    assert not any("no calibration cures" in said for said in judge_runs([blurred, *runs]).sentences)
    few = judge_runs([vague, *runs[:2]])
    assert few.verdict == "too few runs"
    assert few.sentences[0].endswith("here are 2.")


def test_runs_are_put_in_order_of_time_where_it_is_known() -> None:
    runs = made_up(8, drift=1.0)
    assert judge_runs(runs[::-1]) == judge_runs(runs)
    undated = [replace(run, day=None) for run in runs]
    found = judge_runs(undated)
    assert not found.dated
    assert found.drift is not None
    dated = judge_runs(runs).drift
    assert dated is not None
    assert found.drift.slope.value == pytest.approx(3 * dated.slope.value)


def test_all_runs_at_one_time_have_no_drift() -> None:
    assert judge_runs([replace(run, day=5.0) for run in made_up(5)]).drift is None


def test_runs_of_one_pickup_make_no_line() -> None:
    rng = np.random.default_rng(2)
    runs = [
        WeighedRun(name=str(i), photo=Quantity(rng.normal(85, 0.5), 0.5), scale=Quantity(rng.normal(85, 0.3), 0.3))
        for i in range(12)
    ]
    found = judge_runs(runs)
    assert (found.line, found.slope) == (None, None)
    assert found.limits is not None


def test_no_runs_are_refused() -> None:
    with pytest.raises(ValueError, match="no runs to compare"):
        judge_runs([])


def test_false_alarms_are_few() -> None:
    """Each of three tests at 0.05/3 gives 5 % together at most (Bonferroni); scatter has 5 % of its own. 300 trials:
    four standard errors are 5 points.
    """
    found = verdicts(12, 300)
    assert found.count("recalibrate") / 300 <= 0.05 + 0.05
    assert found.count("look into single runs") / 300 <= 0.05 + 0.05
    assert found.count("weighing may be left out") / 300 >= 0.85


def test_faults_of_all_runs_are_found() -> None:
    """A bias of five standard errors of the mean of 12 differences is found in 90 % of trials or more."""
    bias = 5 * math.hypot(U_PHOTO, U_SCALE) / math.sqrt(12)
    assert verdicts(12, 100, bias=bias).count("recalibrate") >= 90


def later_within(found: ManyRuns, rng: np.random.Generator, u: float, n: int) -> float:
    assert found.alone_u is not None
    assert found.alone_dof is not None
    half = Quantity(0, found.alone_u, found.alone_dof).expanded95
    return float((np.abs(rng.normal(0, u, n)) <= half).mean())


def test_what_is_stated_of_a_photo_alone_holds() -> None:
    """Later photos lie within the stated 95 % interval, although the runs' own errors are 1.3 times what they state."""
    rng = np.random.default_rng(8)
    shares = [
        later_within(found, rng, 1.3 * U_PHOTO, 200)
        for found in (judge_runs(made_up(12, seed, scatter=1.3)) for seed in range(200))
        if found.alone_u is not None
    ]
    assert len(shares) > 50
    assert 0.92 <= np.mean(shares) <= 0.995
