import json
from collections.abc import Sequence

import pytest

from debriscount.compare.labels import CampaignRun
from debriscount.compare.selected import Choice
from debriscount.compare.summary import summarise
from debriscount.report.formats import SummaryRecord
from debriscount.report.rounding import UNKNOWN
from debriscount.report.runs_summary import summary_json, summary_text

from ..compare.conftest import filed_figure, filed_run, named
from .described import described


def text(runs: Sequence[CampaignRun], keys: Sequence[str] = ("machine",), choice: Choice | None = None) -> str:
    choice = choice or Choice()
    return " ".join(summary_text(summarise(runs, keys, choice), choice).split())


def runs_of(**pickups: Sequence[float]) -> list[CampaignRun]:
    pairs = [(machine, value) for machine, values in pickups.items() for value in values]
    return named([filed_run(i + 1, value, machine=machine) for i, (machine, value) in enumerate(pairs)])


def test_a_summary_as_it_is_printed() -> None:
    choice = Choice()
    summary = summarise(runs_of(A=[78.0, 80.0, 82.0], B=[70.0, 71.0, 72.5]), ["machine"], choice)
    lines = summary_text(summary, choice).splitlines()
    assert lines[0] == "Pickup of the patch by machine: 6 runs"
    assert lines[2].split() == ["runs", "mean", "95", "%", "interval", "sd", "r", "smallest", "largest", "u"]
    assert lines[3].split() == [
        "A",
        "3",
        "80.0",
        "%",
        "75.0",
        "to",
        "85.0",
        "2.0",
        "5.6",
        "78.0",
        "82.0",
        "0.80",
        "(16",
        "%)",
    ]
    assert max(map(len, lines)) <= 80


def test_figures_are_rounded_by_how_far_they_are_known() -> None:
    assert "A 4 80.000 % 79.930 to 80.070" in text(runs_of(A=[79.95, 80.05, 79.98, 80.02]))
    assert "A 2 50 % -77 to 100" in text(runs_of(A=[40.0, 60.0]))


def test_what_stands_apart_is_said_and_counted() -> None:
    said = text(runs_of(A=[80.0, 80.5, 79.6, 80.2, 60.0]))
    assert (
        "A: run 5 stands apart from the others (Grubbs: chance does as much in less than 0.1 % of cases, an outlier)"
        in said
    )
    assert "it is counted" in said
    said = text(runs_of(A=[80.0, 80.2, 79.9], B=[70.0, 70.1, 69.8], C=[40.0, 60.0, 80.0]))
    assert "C scatters more than the other groups (Cochran:" in said


def test_ceilings_are_said() -> None:
    runs = named([filed_run(1, 99.9, at_least=99.43), filed_run(2, 99.9, at_least=99.43)])
    said = text(runs)
    assert f"A 2 more than 99.4 % 99.43 to 100.00 {UNKNOWN} {UNKNOWN} > 99.4 > 99.4" in said
    assert "2 of 2 runs left next to nothing" in said
    assert "so near to 100 % runs scatter less" in text(runs_of(A=[98.0, 99.0, 99.5]))


def test_doubtful_left_out_and_single_runs_are_named() -> None:
    runs = named(
        [filed_run(1), filed_run(2, trust="doubtful"), filed_run(3, withdrawn="cable"), filed_run(4, machine="B")]
    )
    said = text(runs)
    assert "Doubtful, and counted all the same: 2. --without-doubtful leaves them out." in said
    assert "Not counted, withdrawn: cable: 3." in said
    assert "One run does not say how it would repeat: B." in said


def test_what_is_looked_at_is_said_first() -> None:
    zones = {"open": filed_figure(90.0), "edge": filed_figure(60.0)}
    runs = named([filed_run(i, zones=zones) for i in (1, 2)])
    assert text(runs, (), Choice(zones=("open", "edge"))).startswith("Pickup of open and edge: 2 runs")
    assert text(runs, ("zone",)).startswith("Pickup of each zone by zone: 2 runs")


def test_the_record_holds_all_and_is_json() -> None:
    choice = Choice()
    record = summary_json(summarise(runs_of(A=[78.0, 80.0, 82.0], B=[70.0]), ["machine"], choice), choice)
    assert json.loads(json.dumps(record, allow_nan=False)) == record
    assert described(SummaryRecord, record)
    assert record["format"] == "debriscount/summary/1"
    first, second = record["groups"]
    assert first["group"] == {"machine": "A"}
    assert (first["n"], first["mean"], first["sd"], first["runs"]) == (3, 80.0, 2.0, ["1", "2", "3"])
    assert first["repeatability_limit"] == pytest.approx(5.6)
    assert (second["sd"], second["interval95"]) == (None, None)
    assert [row["value"] for row in record["runs"]] == [78.0, 80.0, 82.0, 70.0]
