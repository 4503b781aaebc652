import json
import os
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

from debriscount.campaign import read_runs as module
from debriscount.campaign.read_runs import INDEX, read_runs
from debriscount.campaign.records import FiledRun

Add = Callable[..., FiledRun]


@pytest.fixture(name="three")
def _three(add: Add, home: Path) -> Path:
    for number in (1, 2, 3):
        add(number)
    return home


def reasons(home: Path) -> dict[str, str]:
    read = read_runs(home)
    assert [run.record.run for run in read.runs] == [1, 3]  # the others go on
    return {one.folder: one.reason for one in read.unread}


@pytest.mark.parametrize(
    ("name", "change", "reason"),
    [
        ("run.json", lambda text: text[:40], "Put that right, or put back the file as it was."),
        (
            "run.json",
            lambda text: text.replace("run/1", "run/2"),
            'its format is "debriscount/run/2", but only "debriscount/run/1"',
        ),
        ("run.json", lambda text: text.replace('"machine": "A"', '"machine": 3'), "run.json was damaged: machine: "),
        (
            "run.json",
            lambda text: text.replace('"side": []', '"side": [{"quantity": "mass", "values": [NaN], "unit": "g"}]'),
            "NaN is not a JSON number",
        ),
        (
            "run.json",
            lambda text: text.replace('"run": 2', '"run": 3'),
            "is that of run 3, so this folder is a copy of it",
        ),
        ("run.json", lambda text: text.replace('"before.jpg"', '"../../secret"'), "which is not in the run's folder"),
        (
            "measurement.json",
            lambda text: text.replace("80.0", "90.0"),
            "measurement.json is not the one that was filed",
        ),
        ("run.json", lambda text: text.replace('"when": "', '"when": "yesterday '), 'damaged: when is "yesterday '),
        ("measurement.json", lambda _: None, "measurement.json is missing. If the campaign is still being copied"),
        ("run.json", lambda _: None, "run.json is missing. If the campaign is still being copied"),
    ],
)
def test_a_run_that_is_damaged_or_newer_or_half_there_is_named(
    name: str, change: Callable[[str], str | None], reason: str, three: Path
) -> None:
    file = three / "runs" / "0002" / name
    changed = change(file.read_text(encoding="utf-8"))
    file.unlink()
    if changed is not None:
        file.write_text(changed, encoding="utf-8")
    assert reason in reasons(three)["0002"]


def test_a_newer_result_is_refused_with_the_reason(three: Path) -> None:
    folder = three / "runs" / "0002"
    text = (folder / "measurement.json").read_text().replace("measurement/1", "measurement/2")
    (folder / "measurement.json").write_text(text)
    run = json.loads((folder / "run.json").read_text())
    run["result"]["sha256"] = ""  # as the newer version would have filed it
    (folder / "run.json").write_text(json.dumps(run))
    assert 'its format is "debriscount/measurement/2"' in reasons(three)["0002"]
    assert "newer" in reasons(three)["0002"]


def test_lines_that_end_otherwise_are_no_damage(three: Path) -> None:
    for file in (three / "runs").glob("*/*.json"):
        file.write_bytes(file.read_bytes().replace(b"\n", b"\r\n"))
    assert len(read_runs(three).runs) == 3


def test_folders_that_are_no_runs_are_named(three: Path) -> None:
    shutil.copytree(three / "runs" / "0001", three / "runs" / "0001 (copy)")
    (three / "runs" / ".hidden").mkdir()
    (three / "runs" / "notes.txt").write_text("mine")
    read = read_runs(three)
    assert [one.folder for one in read.unread] == ["0001 (copy)"]
    assert len(read.runs) == 3


def age(home: Path) -> None:
    """Make all files old enough for the index."""
    for file in (home / "runs").glob("*/*.json"):
        os.utime(file, (1_700_000_000, 1_700_000_000))


def test_the_index_says_what_the_files_say(three: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "_WORTH", 1)
    age(three)
    read = read_runs(three)
    assert (three / "runs" / INDEX).is_file()
    calls: list[Path] = []
    whole = module._read_whole

    def counted(folder: Path) -> object:
        calls.append(folder)
        return whole(folder)

    monkeypatch.setattr(module, "_read_whole", counted)
    assert read_runs(three) == read
    assert not calls
    file = three / "runs" / "0002" / "run.json"
    file.write_text(file.read_text().replace('"A"', '"Z"'))
    assert [run.record.machine for run in read_runs(three).runs] == ["A", "Z", "A"]
    assert [path.name for path in calls] == ["0002"]


def test_what_has_just_been_written_is_not_trusted_to_the_index(three: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "_WORTH", 1)
    read_runs(three)
    assert json.loads((three / "runs" / INDEX).read_text())["runs"] == {}


@pytest.mark.parametrize("content", [b"", b"[]", b'{"format": "debriscount/index/9", "runs": {}}', b"\xff"])
def test_a_damaged_index_is_passed_over(content: bytes, three: Path) -> None:
    (three / "runs" / INDEX).write_bytes(content)
    assert len(read_runs(three).runs) == 3


def test_a_campaign_without_runs_has_none(home: Path) -> None:
    (home / "runs").rmdir()
    assert read_runs(home).runs == ()
