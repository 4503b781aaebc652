"""The benchmark of weighings, on few runs; its figures need 2,000."""

import importlib
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

BENCHMARKS = Path(__file__).parents[1] / "benchmarks"


@pytest.fixture
def weighing(monkeypatch: pytest.MonkeyPatch) -> Iterator[Any]:
    monkeypatch.syspath_prepend(BENCHMARKS)
    yield importlib.import_module("weighing")
    sys.modules.pop("weighing", None)


@pytest.fixture
def causes(weighing: Any) -> Iterator[Any]:
    yield importlib.import_module("weighing_causes")
    sys.modules.pop("weighing_causes", None)


def test_masses_of_a_simulated_run_are_those_of_its_truth(weighing: Any) -> None:
    truth = weighing.random_truth(3)
    fault = weighing.Fault(spilled_g=0.1 * truth.portion_g)
    weighed = weighing.weighed_pickup(weighing.weigh(truth, fault))
    assert weighed.balance.dispensed_g.value == pytest.approx(truth.portion_g, rel=0.01)
    assert weighed.balance.unaccounted_g.value == pytest.approx(0.1 * truth.portion_g, rel=0.1)
    # What did not get onto the floor is missing from leftovers and bin alike.
    left_g = sum(truth.left_g.values())
    assert weighed.balance.swept_g.value == pytest.approx(0.9 * left_g, rel=0.05)
    assert weighing.weighed_pickup(weighing.weigh(truth)).pickup_percent.value == pytest.approx(
        truth.pickup_percent, abs=1.0
    )


def test_runs_come_from_the_seed_alone(weighing: Any) -> None:
    assert weighing.weigh(weighing.random_truth(5)) == weighing.weigh(weighing.random_truth(5))
    assert weighing.weigh(weighing.random_truth(5)) != weighing.weigh(weighing.random_truth(6))


def test_sound_runs_agree_and_planted_faults_are_seen(weighing: Any) -> None:
    shares = weighing.sound_runs(range(150))
    assert 90 <= shares["|E_n| <= 1, photo against scale"] <= 99
    assert 90 <= shares["|E_n| <= 1, scale against truth"] <= 99
    assert shares["flagged without a fault"] < 5
    for number in range(len(weighing.PLANTED)):
        runs, share = weighing.share_flagged(number, range(40))
        assert runs > 30
        assert share >= 85, weighing.PLANTED[number][0]


def test_a_smaller_fault_is_seen_less_often(weighing: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(weighing, "SIZE", 1.0)
    assert weighing.share_flagged(0, range(40))[1] < 30


@pytest.mark.parametrize(("bar", "code"), [(90.0, 0), (100.1, 1)])
def test_exit_code(
    weighing: Any,
    causes: Any,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    bar: float,
    code: int,
) -> None:
    monkeypatch.setattr(weighing, "FLAGGED", bar)
    monkeypatch.setattr(weighing, "share_flagged", lambda _number, seeds: (len(seeds), 97.0))
    monkeypatch.setattr(weighing, "sound_runs", lambda seeds, **_: {"|E_n| <= 1, photo against scale": 95.0})
    monkeypatch.setattr(causes, "report", lambda _seeds: False)
    assert weighing.main(["--runs", "9"]) == code
    assert "spilled portion, swept" in capsys.readouterr().out


def test_exchanged_readings_are_named_and_sound_runs_seldom_blamed(causes: Any) -> None:
    for number, (name, _, cause, _) in enumerate(causes.FAULTS):
        if cause == "exchanged readings":
            found = causes.name_first(number, range(25), 15.0)
            assert found.right >= 0.85 * (found.runs - found.unseen), name
    alarms = causes.false_alarms(range(60))
    assert alarms["an exchange named"] <= 2
    assert alarms["a cause named"] <= 15


def test_a_sound_run_of_the_causes_is_what_its_truth_says(causes: Any, weighing: Any) -> None:
    truth = weighing.random_truth(4)
    seen = causes.figures(truth, causes.Planted(weighing.weigh(truth))).zones["patch"]
    assert seen.pickup_percent == pytest.approx(truth.pickup_percent, abs=4 * truth.photo_u)
    spilled = causes._spilled(truth, weighing.weigh(truth), 0.15 * truth.portion_g)
    weighed = weighing.weighed_pickup(spilled.weighing)
    assert weighed.balance.unaccounted_g.value == pytest.approx(0.15 * truth.portion_g, rel=0.1)


def test_best_figures_are_no_worse_than_the_better_of_both(causes: Any) -> None:
    found = causes.best_figures(range(100))
    assert found["best"] <= 1.1 * min(found["photo"], found["scale"])
