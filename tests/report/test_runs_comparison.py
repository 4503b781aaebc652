import json
from collections.abc import Sequence

from debriscount.compare.compare import compare
from debriscount.compare.labels import CampaignRun
from debriscount.compare.selected import Choice
from debriscount.report.formats import ComparisonRecord
from debriscount.report.runs_comparison import comparison_json, comparison_text

from ..compare.conftest import filed_run, named
from .described import described


def runs_of(**pickups: Sequence[float]) -> list[CampaignRun]:
    pairs = [(brush, value) for brush, values in pickups.items() for value in values]
    return named([filed_run(i + 1, value, settings={"brush": brush}) for i, (brush, value) in enumerate(pairs)])


def text(runs: Sequence[CampaignRun], factor: str = "setting.brush") -> str:
    return " ".join(comparison_text(compare(runs, factor), Choice()).split())


def test_a_difference_in_words() -> None:
    said = text(runs_of(A=[81.0, 83.0, 82.0, 82.4], B=[76.0, 77.1, 76.9, 75.9]))
    assert said.startswith("Pickup of the patch, brush:")
    assert "brush A picked up 5.6 points more than brush B (4.3 to 6.9)." in said


def test_what_cannot_be_told_apart_says_how_many_runs_would() -> None:
    said = text(runs_of(A=[78.0, 80.0, 82.0], B=[77.0, 79.0, 81.0]))
    assert (
        "brush A and brush B cannot be told apart with 3 runs each (-3.5 to 5.5); about 9 each would tell 3 points."
        in said
    )
    assert "A 1= 3 80.0 %" in said
    many = text(runs_of(A=[80.0, 80.2] * 5, B=[80.1, 80.0] * 5))
    assert "with 10 runs each" in many
    assert "3 points would most likely have been told" in many


def test_blocks_are_said() -> None:
    runs = named(
        [filed_run(i, 80.0 + i + 0.1 * i * i, machine="A", block=str(i)) for i in (1, 2, 3)]
        + [filed_run(i + 3, 78.0 + i, machine="B", block=str(i)) for i in (1, 2, 3)]
    )
    assert "in 3 blocks)" in text(runs, "machine") or "with 3 blocks (" in text(runs, "machine")


def test_the_warning_comes_first_and_single_runs_are_said() -> None:
    runs = named([filed_run(1, 80.0, machine="A"), filed_run(2, 70.0, machine="B", floor="tile")])
    said = text(runs, "machine")
    assert said.startswith("Take care: not like with like, floor differs")
    assert "machine A and machine B cannot be told apart: one run does not say how it would repeat." in said


def test_ceilings_in_words() -> None:
    first = [filed_run(i, 99.8, at_least=99.0, machine="A") for i in (1, 2, 3)]
    low = [filed_run(i, v, machine="B") for i, v in ((4, 89.0), (5, 90.0), (6, 91.0))]
    assert "machine A picked up at least 9.0 points more than machine B" in text(named(first + low), "machine")
    high = [filed_run(i, 99.8, at_least=99.0, machine="B") for i in (4, 5, 6)]
    assert "cannot be told apart: both left next to nothing" in text(named(first + high), "machine")


def test_many_pairs_are_not_all_said() -> None:
    runs = named([filed_run(10 * i + j, 80.0 + j, machine=f"m{i}") for i in range(1, 8) for j in (1, 2)])
    assert "21 other pairs cannot be told apart; --json gives all." in text(runs, "machine")


def test_the_record_holds_all_and_is_json() -> None:
    choice = Choice()
    record = comparison_json(compare(runs_of(A=[81.0, 83.0, 82.0], B=[76.0, 77.1, 76.9]), "setting.brush"), choice)
    assert json.loads(json.dumps(record, allow_nan=False)) == record
    assert described(ComparisonRecord, record)
    (found,) = record["differences"]
    assert (found["first"], found["second"], found["told_apart"], found["bound"]) == ("A", "B", True, None)
    assert found["interval95"][0] < found["difference"] < found["interval95"][1]
    assert found["sentence"].startswith("brush A picked up")
    assert [group["rank"] for group in record["groups"]] == [1, 2]
