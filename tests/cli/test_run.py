"""``debriscount run`` and ``campaign new``, with a stand-in for measuring."""

import json
import os
from collections.abc import Mapping
from pathlib import Path

import pytest
from PIL import Image
from typer.testing import CliRunner

from debriscount.campaign.campaign_file import read_campaign
from debriscount.campaign.read_runs import read_runs
from debriscount.campaign.records import RunSources
from debriscount.inputs.patch_write import patch_toml
from debriscount.layout.lay_patch import lay_patch
from debriscount.report import filed
from debriscount_cli.app import app

RUNNER = CliRunner()


def run(*arguments: object, answers: str | None = None, code: int = 0) -> tuple[str, str]:
    result = RUNNER.invoke(app, [str(argument) for argument in arguments], input=answers)
    assert result.exit_code == code, result.output
    return result.stdout, result.stderr


def photo(path: Path, number: int) -> Path:
    path.parent.mkdir(exist_ok=True)
    Image.frombytes("RGB", (64, 64), number.to_bytes(2, "big") * (64 * 32 * 3)).save(path, "PNG")
    os.utime(path, (1_700_000_000 + 60 * number,) * 2)
    return path


def quick(sources: RunSources, progress: object = None) -> Mapping[str, bytes]:
    amount = {"area_mm2": 1.0, "mass_g": None}
    figure = {"pickup_percent": 81.5, "interval95": [80, 83], "trust": "sound", "before": amount, "after": amount}
    record = {"format": "debriscount/measurement/1", "passes": [{"pass": 1, "zones": {"patch": figure}}]}
    return {"measurement.json": json.dumps(record).encode()}


@pytest.fixture(name="home")
def _home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setattr(filed, "result_files", quick)
    patch = tmp_path / "bench.toml"
    patch.write_text(patch_toml(lay_patch(300, 200, (), name="bench")), encoding="utf-8")
    run("campaign", "new", tmp_path / "c", "--patch", patch, "--debris", "red-lentils", "--yes")
    monkeypatch.chdir(tmp_path / "c")
    return tmp_path / "c"


def test_the_fixed_command_forms(home: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    before, after, blank = (photo(tmp_path / f"{name}.png", number) for number, name in enumerate(("b", "a", "bl")))
    form = [
        "run",
        "add",
        "--campaign",
        home,
        "--machine",
        "M",
        "--setting",
        "k=v",
        "--blank",
        blank,
        "--before",
        before,
        "--after",
        after,
        "--yes",
    ]
    said, _ = run(*form)
    assert said == "Run 1: picked up 81.5 % (80.0 to 83.0): sound.\n"
    (one,) = read_runs(home).runs
    assert (one.record.machine, one.record.settings, sorted(one.record.photos)) == (
        "M",
        {"k": "v"},
        ["after", "before", "blank"],
    )
    assert [machine.name for machine in read_campaign(home).machines] == ["M"]
    said, aside = run(*form, code=2)
    assert said == ""
    assert aside == "the campaign has those photos already: before is before of run 1. Nothing was added.\n"


def fill(home: Path, number: int) -> None:
    photo(home / "inbox" / f"{number}-b.png", 3 * number)
    photo(home / "inbox" / f"{number}-a.png", 3 * number + 1)


@pytest.fixture(name="fit")
def _fit(monkeypatch: pytest.MonkeyPatch) -> None:
    """Shots that are not looked at: these have no markers."""
    from debriscount_cli import _run_answers

    monkeypatch.setattr(_run_answers, "_check", lambda *_: None)


@pytest.mark.usefixtures("fit")
@pytest.mark.parametrize(
    ("typed", "machine", "settings"),
    [
        ("", "A", {"brush": "rubber"}),
        ("B", "B", {}),
        ("brush=bristle", "A", {"brush": "bristle"}),
    ],
)
def test_four_words_at_most_add_a_run(typed: str, machine: str, settings: dict[str, str], home: Path) -> None:
    file = home / "campaign.toml"
    file.write_text(
        file.read_text() + '\n[[machines]]\nname = "A"\nsettings = { brush = "rubber" }\n[[machines]]\nname = "B"\n'
    )
    fill(home, 1)
    run("run", "add", "--machine", "A", "--yes")
    fill(home, 2)
    command = ["run", "add"]
    said, aside = run(*command, answers=f"{typed}\n\n" if typed else "\n")
    assert len(["debriscount", *command, *typed.split()]) <= 4
    assert "before: 2-b.png, taken" in aside
    last = read_runs(home).runs[-1].record
    assert (last.run, last.machine, last.settings) == (2, machine, settings)
    assert "Next run, as run 1:" in said
    assert not list((home / "inbox").iterdir())


@pytest.mark.usefixtures("fit")
def test_no_adds_nothing(home: Path) -> None:
    fill(home, 1)
    run("run", "add", answers="A\nno\n")
    assert not read_runs(home).runs
    assert len(list((home / "inbox").iterdir())) == 2


def test_without_a_machine_nothing_is_guessed(home: Path) -> None:
    fill(home, 1)
    _, aside = run("run", "add", "--yes", code=2)
    assert "nothing tells which machine ran" in aside


def test_a_run_is_listed_shown_noted_and_withdrawn(home: Path) -> None:
    fill(home, 1)
    run("run", "add", "--machine", "A", "--setting", "brush=rubber", "--note", "new brush", "--yes")
    run("run", "note", "1", "loud")
    said, _ = run("run", "side", "1", "sound-level", "60", "70", "--unit", "dB(A)", "--at", "boost")
    assert said == "Run 1: sound-level at boost: 67.4 ± 5 dB(A) (read energy mean of 60, 70 dB(A))\n"
    said, _ = run("run", "show", "1")
    for words in (
        "Run 1, 2023-",
        "machine A",
        "brush = rubber",
        "patch   81.5 % (80.0 to 83.0)  sound",
        "new brush",
        "loud",
        "67.4 ± 5 dB(A)",
    ):
        assert words in said
    run("run", "withdraw", "1", "--why", "wrong brush")
    said, _ = run("run", "list")
    assert said.splitlines()[1].endswith("81.5 %  80.0 to 83.0  withdrawn")
    record = json.loads(run("run", "list", "--json")[0])
    assert record["runs"][0]["withdrawn"]["why"] == "wrong brush"
    run("run", "restore", "1")


def test_a_damaged_run_is_named_and_the_others_listed(home: Path) -> None:
    for number in (1, 2):
        fill(home, number)
        run("run", "add", "--machine", "A", "--yes")
    (home / "runs" / "0001" / "run.json").write_text("{}")
    said, aside = run("run", "list")
    assert len(said.splitlines()) == 2
    assert aside.startswith("runs/0001: left out. run.json: its format is null")


def test_a_weighed_only_run(home: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.undo()
    monkeypatch.chdir(home)
    run("weigh", "--full", "152,3", "--empty", "102.3", "--bin-before", "310.2", "--bin-after", "351.9", "--yes")
    assert (home / "weighing.toml").is_file()
    said, _ = run("run", "add", "--machine", "A", "--no-photos", "--yes")
    assert said.startswith("Run 1: picked up 83.4 % (")
    assert "by scale" in said
    assert not (home / "weighing.toml").exists()
    (one,) = read_runs(home).runs
    assert (one.record.photos, one.record.result.file) == ({}, "weighing.json")


def test_what_is_odd_of_a_weighing_is_said_and_kept(home: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.undo()
    monkeypatch.chdir(home)
    run("weigh", "--full", "152,3", "--empty", "102.3", "--bin-before", "310.2", "--bin-after", "371.9", "--yes")
    _, aside = run("run", "add", "--machine", "A", "--no-photos", "--yes")
    (line,) = [line for line in aside.splitlines() if line.startswith("Note: ")]
    assert "more was found than dispensed" in line
    assert line in run("run", "show", "1")[0]


@pytest.mark.parametrize("quiet", [[], ["--quiet"]])
def test_without_questions_an_unfit_shot_is_said_and_kept(
    quiet: list[str], home: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Measuring checks the shots, and its record keeps what it found."""
    flags = [
        {"code": "settings-differ", "severity": "note", "shot": None, "zone": None, "sentence": "the zoom differs"},
        *(
            {"code": "blurred", "severity": "doubtful", "shot": shot, "zone": None, "sentence": "edges are spread."}
            for shot in ("before", "after")
        ),
    ]

    def flagged(sources: RunSources, progress: object = None) -> Mapping[str, bytes]:
        record = json.loads(quick(sources)["measurement.json"]) | {"flags": flags}
        return {"measurement.json": json.dumps(record).encode()}

    monkeypatch.setattr(filed, "result_files", flagged)
    fill(home, 1)
    _, aside = run("run", "add", "--machine", "A", "--yes", *quiet)
    told = ["Warning: before and after: edges are spread.", "Note: the zoom differs"]
    assert [line for line in aside.splitlines() if line.startswith(("Warning", "Note"))] == told
    shown = run("run", "show", "1")[0].splitlines()
    assert [line for line in shown if line.startswith(("Warning", "Note"))] == told


def test_a_weighing_that_is_not_finished_is_told_of(home: Path) -> None:
    fill(home, 1)
    run("weigh", answers="g\n0.1\n", code=2)
    _, aside = run("run", "add", "--machine", "A", "--yes")
    assert "a weighing is begun and not finished" in aside
    assert read_runs(home).runs[0].record.weighing is None


def test_a_measurement_anew_shows_what_changed(home: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    fill(home, 1)
    run("run", "add", "--machine", "A", "--yes")

    def other(sources: RunSources, progress: object = None) -> Mapping[str, bytes]:
        return {name: content.replace(b"81.5", b"84.5") for name, content in quick(sources).items()}

    monkeypatch.setattr(filed, "result_files", other)
    said, _ = run("run", "remeasure", "--all", "--at-once", "1")
    assert (
        said == "Run 1: 81.5 % (80.0 to 83.0)  sound -> 84.5 % (80.0 to 83.0)  sound\n1 run measured anew, 1 changed.\n"
    )
    (home / "runs" / "0001" / "before.png").unlink()
    _, aside = run("run", "remeasure", "1", "--at-once", "1", code=3)
    assert aside.startswith("run 1: ")


def test_there_must_be_a_campaign(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    _, aside = run("run", "list", code=2)
    assert "there is no campaign.toml here or above" in aside
    _, aside = run("run", "list", "--campaign", tmp_path, code=2)
    assert "holds no campaign.toml" in aside


def test_a_campaign_is_asked_for_and_corrected(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "patch.toml").write_text(patch_toml(lay_patch(300, 200, (), name="bench")), encoding="utf-8")
    answers = "trials\n\nred-lentil\nred-lentils, rice\noak, tile\nA, B\nbrush=rubber\n-\nbrush=felt\nnone\n2\n\n0,1\n1\nbrush trials\nyes\n"
    _said, aside = run("campaign", "new", tmp_path / "c", answers=answers)
    assert 'Did you mean "red-lentils"?' in aside
    made = read_campaign(tmp_path / "c")
    assert made.campaign.name == "brush trials"
    assert made.campaign.debris == ("red-lentils", "rice")
    assert [(one.name, one.settings) for one in made.machines] == [("A", {"brush": "felt"}), ("B", {})]
    assert (made.campaign.passes, made.campaign.floor) == (2, "oak")
    assert made.scale is not None
    assert made.scale.readability_g == 0.1
    _, aside = run("campaign", "new", tmp_path / "c", "--yes", code=2)
    assert "is a campaign already" in aside
