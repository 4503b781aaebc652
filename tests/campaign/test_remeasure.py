import json
from collections.abc import Callable, Iterator, Mapping
from functools import partial
from pathlib import Path

import pytest

from debriscount.campaign import remeasure as module
from debriscount.campaign.changes import add_note, withdraw
from debriscount.campaign.file_run import put_run as put_run_of_files
from debriscount.campaign.read_runs import read_runs
from debriscount.campaign.records import FiledRun, RunSources
from debriscount.campaign.remeasure import ROUND, Job, Remeasured, RemeasuredRun, remeasure
from debriscount.campaign.spread import _by_processes, in_turn, ways_to_spread
from debriscount.errors import CampaignError, PhotoUnfitError

Measured = Callable[..., Mapping[str, bytes]]


@pytest.fixture(name="three")
def _three(add: Callable[..., FiledRun], home: Path) -> Path:
    for number in (1, 2, 3):
        add(number)
    return home


def again(home: Path, measured: Measured, *numbers: int, **how: object) -> Remeasured:
    return remeasure(home, numbers, measured, in_turn, **how)  # type: ignore[arg-type]


def pickups(home: Path) -> list[float | None]:
    return [run.figures.passes[0].zones["patch"].pickup_percent for run in read_runs(home).runs]


def test_runs_of_this_version_are_measured_anew_only_when_asked(three: Path, measured: Measured) -> None:
    assert again(three, partial(measured, pickup=81.0)).runs == ()
    assert [one.run for one in again(three, partial(measured, pickup=81.0), everything=True).runs] == [1, 2, 3]
    assert pickups(three) == [81.0, 81.0, 81.0]


def test_runs_of_another_version_are(three: Path, measured: Measured, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "__version__", "9.9")
    withdraw(three, 2, "wrong brush")
    assert [one.run for one in again(three, measured).runs] == [1, 3]
    assert again(three, measured).runs == ()
    assert read_runs(three).runs[0].record.versions.measured == "9.9"


def test_old_records_are_kept_each_once(three: Path, measured: Measured) -> None:
    for pickup in (81.0, 81.0, 82.0):
        again(three, partial(measured, pickup=pickup), 1)
    kept = sorted((three / "runs" / "0001" / "earlier").glob("*/measurement.json"))
    shown = [json.loads(file.read_text())["passes"][0]["zones"]["patch"]["pickup_percent"] for file in kept]
    assert shown == [80.0, 81.0]
    assert (kept[0].parent / "run.json").is_file()


def test_a_copy_that_is_there_is_not_made_twice(
    three: Path, measured: Measured, monkeypatch: pytest.MonkeyPatch
) -> None:
    killed = [True]

    def put_run(*args: object, **kwargs: object) -> None:
        if killed.pop():
            raise KeyboardInterrupt
        put_run_of_files(*args, **kwargs)  # type: ignore[arg-type]

    monkeypatch.setattr(module, "put_run", put_run)
    with pytest.raises(KeyboardInterrupt):
        again(three, partial(measured, pickup=81.0), 1)
    killed.append(False)
    again(three, partial(measured, pickup=81.0), 1)
    assert [path.name for path in (three / "runs" / "0001" / "earlier").iterdir()] == ["01"]


def test_a_run_that_fails_is_named_and_the_others_go_on(three: Path, measured: Measured) -> None:
    def some(sources: RunSources, progress: object) -> Mapping[str, bytes]:
        if sources.patch.parent.name == "0002":
            raise PhotoUnfitError("no markers")
        if sources.patch.parent.name == "0003":
            raise ZeroDivisionError("a bug")
        return measured(sources, progress, pickup=81.0)

    done = again(three, some, everything=True)
    assert [one.fault for one in done.runs] == ["", "no markers", "a fault of the program: ZeroDivisionError('a bug')"]
    assert pickups(three) == [81.0, 80.0, 80.0]


def test_an_interrupted_round_goes_on_with_what_is_left(three: Path, measured: Measured) -> None:
    def stops(work: Callable[[Job], RemeasuredRun], jobs: list[Job]) -> Iterator[RemeasuredRun]:
        yield work(jobs[0])
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        remeasure(three, (), partial(measured, pickup=81.0), stops, everything=True)  # type: ignore[arg-type]
    assert pickups(three) == [81.0, 80.0, 80.0]
    done = again(three, partial(measured, pickup=82.0), everything=True)
    assert ([one.run for one in done.runs], done.done_before) == ([2, 3], 1)
    assert pickups(three) == [81.0, 82.0, 82.0]
    assert not (three / "runs" / ROUND).exists()
    assert len(again(three, measured, everything=True).runs) == 3


def test_begun_from_the_start_it_does_all(three: Path, measured: Measured) -> None:
    (three / "runs" / ROUND).write_text("damaged")
    assert len(again(three, measured, everything=True).runs) == 3


def test_notes_stay_and_a_damaged_result_is_made_anew(three: Path, measured: Measured) -> None:
    add_note(three, 2, "kept")
    (three / "runs" / "0002" / "measurement.json").write_text("{")
    assert len(read_runs(three).unread) == 1
    (one,) = again(three, measured, 2).runs
    assert one.before is None
    assert read_runs(three).runs[1].record.notes[0].text == "kept"


def test_another_photo_in_the_place_of_one_is_refused(three: Path, measured: Measured) -> None:
    folder = three / "runs" / "0001"
    (folder / "before.jpg").unlink()
    (one,) = again(three, measured, 1).runs
    assert one.fault == "before.jpg, the photo that was filed as before, is missing. Put it back in runs/0001."
    (folder / "before.jpg").write_bytes((folder / "after.jpg").read_bytes())
    (one,) = again(three, measured, 1).runs
    assert one.fault == "before.jpg is not the photo that was filed as before. Put that one back."


def test_a_run_measures_with_its_own_files_unless_said_otherwise(three: Path, measured: Measured) -> None:
    seen: list[tuple[str, ...]] = []

    def looks(sources: RunSources, progress: object) -> Mapping[str, bytes]:
        seen.append((sources.patch.parent.name, *(path.name for path in sources.debris)))
        return measured(sources, progress)

    again(three, looks, 1)
    (three / "patch.toml").write_text((three / "patch.toml").read_text() + "# corrected\n")
    again(three, looks, 1, present_files=True)
    assert seen == [("0001", "debris-red-lentils.toml"), (three.name, "red-lentils.toml")]
    assert "# corrected" in (three / "runs" / "0001" / "patch.toml").read_text()
    assert "# corrected" not in (three / "runs" / "0001" / "earlier" / "01" / "patch.toml").read_text()
    assert not read_runs(three).unread


def test_a_later_weighing_is_given_to_one_run(three: Path, measured: Measured, tmp_path: Path) -> None:
    weighing = tmp_path / "late.toml"
    weighing.write_text("[scale]\n[dispensed]\nportion_g = 20\n")
    with pytest.raises(CampaignError, match="belongs to one run"):
        again(three, measured, 1, 2, weighing=weighing)
    again(three, measured, 1, weighing=weighing)
    run = read_runs(three).runs[0]
    assert run.record.weighing is not None
    assert (run.folder / "weighing.toml").read_text() == weighing.read_text()


def test_a_number_that_is_not_there_is_refused(three: Path, measured: Measured) -> None:
    with pytest.raises(CampaignError, match=r"run 7: the campaign has no such run\. They go from 1 to 3\."):
        again(three, measured, 7)


def returns_number(job: Job) -> RemeasuredRun:
    return RemeasuredRun(run=job.run)


def test_without_other_processes_jobs_are_done_in_turn(three: Path, measured: Measured) -> None:
    jobs = [Job(campaign=three, run=number, round_mark="", measured=measured) for number in (1, 2)]
    assert [one.run for one in _by_processes(returns_number, jobs, 1)] == [1, 2]
    with ways_to_spread(1) as spread:
        assert [one.run for one in spread(returns_number, jobs)] == [1, 2]
