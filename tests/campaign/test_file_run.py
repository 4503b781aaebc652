import errno
import hashlib
import json
import subprocess
import sys
import threading
from collections.abc import Callable
from pathlib import Path

import pytest

from debriscount.campaign import file_run as module
from debriscount.campaign.add_run import add_run, new_run, shots_by_name, shots_of_inbox
from debriscount.campaign.campaign_file import read_campaign
from debriscount.campaign.changes import withdraw
from debriscount.campaign.file_run import LOCK, writing
from debriscount.campaign.next_run import next_choice
from debriscount.campaign.places import BLANKS, INBOX
from debriscount.campaign.read_runs import read_runs
from debriscount.campaign.records import FiledRun, RunSources, by_shot
from debriscount.errors import CampaignError, OutputError, PhotoUnfitError
from debriscount.report.filed import result_files

Add = Callable[..., FiledRun]


def test_a_run_is_filed_with_photos_record_settings_versions_and_sums(add: Add, home: Path) -> None:
    filed = add(1, settings={"suction": "3"})
    record = filed.record
    assert filed.folder == home / "runs" / "0001"
    assert (record.machine, record.settings, record.floor) == ("A", {"brush": "rubber", "suction": "3"}, "oak")
    assert [used.kind for used in record.debris] == ["red lentils"]
    for shot in ("before", "after", "blank"):
        content = (filed.folder / record.photos[shot].file).read_bytes()
        assert hashlib.sha256(content).hexdigest() == record.photos[shot].sha256
    assert record.photos["before"].named == "b1.jpg"
    for name in (record.patch.file, record.debris[0].file, record.result.file):
        assert (filed.folder / name).is_file()
    assert record.versions.measured
    assert filed.figures.passes[0].zones["patch"].pickup_percent == 80.0
    assert read_runs(home).runs == (filed,)


def test_a_shared_blank_is_kept_once(add: Add, home: Path) -> None:
    assert add(1).record.photos["blank"] == add(2).record.photos["blank"]
    assert len(list((home / BLANKS).iterdir())) == 1


@pytest.mark.parametrize("shot", ["before", "after"])
def test_photos_that_a_run_has_are_refused_in_one_line(
    shot: str, add: Add, home: Path, photo: Callable[..., Path], measured: Callable[..., dict[str, bytes]]
) -> None:
    add(1)
    paths = {"before": photo("x.jpg", 900), "after": photo("y.jpg", 901)}
    paths[shot] = photo("again.jpg", 3 if shot == "before" else 4)
    shots = shots_by_name(None, paths["before"], [paths["after"]])
    campaign, runs = read_campaign(home), read_runs(home).runs
    new = new_run(home, campaign, next_choice(campaign, runs), shots, None)
    message = f"the campaign has those photos already: {shot} is {shot} of run 1"
    with pytest.raises(CampaignError, match=message) as raised:
        add_run(home, campaign, new, shots, runs, measured)
    assert "\n" not in str(raised.value)
    withdraw(home, 1, "wrong brush")
    assert add_run(home, campaign, new, shots, read_runs(home).runs, measured).record.run == 2


def test_photos_saved_again_are_known_by_the_seconds_they_were_taken_in(
    home: Path, photo: Callable[..., Path], measured: Callable[..., dict[str, bytes]]
) -> None:
    times = ("2026:11:01 10:00:00", "2026:11:01 10:05:00")
    for number in (1, 2):
        before, after = (
            photo(f"{name}{number}.jpg", 10 * number + k, taken)
            for k, (name, taken) in enumerate(zip("ba", times, strict=True))
        )
        shots = shots_by_name(None, before, [after])
        campaign, runs = read_campaign(home), read_runs(home).runs
        new = new_run(home, campaign, next_choice(campaign, runs, machine="A"), shots, None)
        if number == 1:
            assert add_run(home, campaign, new, shots, runs, measured).record.when == "2026-11-01T10:00:00"
        else:
            with pytest.raises(CampaignError, match="saved otherwise: run 1 was taken in the same seconds"):
                add_run(home, campaign, new, shots, runs, measured)


def test_what_is_not_measured_is_not_filed_and_stays_in_the_inbox(home: Path, photo: Callable[..., Path]) -> None:
    shots = shots_by_name(None, photo("b.jpg", 1, None, home / INBOX), [photo("a.jpg", 2, None, home / INBOX)])
    campaign = read_campaign(home)
    new = new_run(home, campaign, next_choice(campaign, (), machine="A"), shots, None)

    def unfit(*_: object) -> dict[str, bytes]:
        raise PhotoUnfitError("no markers")

    with pytest.raises(PhotoUnfitError):
        add_run(home, campaign, new, shots, (), unfit)
    assert not list((home / "runs").iterdir())
    assert len(list((home / INBOX).iterdir())) == 2


def test_a_photo_that_changes_while_it_is_measured_is_not_filed(
    home: Path, photo: Callable[..., Path], measured: Callable[..., dict[str, bytes]]
) -> None:
    before = photo("b.jpg", 1)
    shots = shots_by_name(None, before, [photo("a.jpg", 2)])
    campaign = read_campaign(home)
    new = new_run(home, campaign, next_choice(campaign, (), machine="A"), shots, None)

    def change(sources: object, progress: object = None) -> dict[str, bytes]:
        found = measured(sources)
        photo("b.jpg", 3)
        return found

    with pytest.raises(CampaignError, match="was changed while it was measured"):
        add_run(home, campaign, new, shots, (), change)
    assert not read_runs(home).runs


def test_filed_photos_leave_the_inbox_and_others_stay(
    home: Path, photo: Callable[..., Path], measured: Callable[..., dict[str, bytes]]
) -> None:
    inbox = home / INBOX
    shots = shots_by_name(None, photo("b.jpg", 1, None, inbox), [photo("a.jpg", 2, None, inbox)])
    photo("c.jpg", 3, None, inbox)
    campaign = read_campaign(home)
    new = new_run(home, campaign, next_choice(campaign, (), machine="A"), shots, None)
    add_run(home, campaign, new, shots, (), measured)
    assert [path.name for path in inbox.iterdir()] == ["c.jpg"]


def test_two_who_add_at_once_get_numbers_of_their_own(
    home: Path, photo: Callable[..., Path], measured: Callable[..., dict[str, bytes]]
) -> None:
    campaign = read_campaign(home)

    def add(number: int) -> None:
        shots = shots_by_name(None, photo(f"b{number}.jpg", 2 * number), [photo(f"a{number}.jpg", 2 * number + 1)])
        new = new_run(home, campaign, next_choice(campaign, (), machine="A"), shots, None)
        add_run(home, campaign, new, shots, (), measured)

    threads = [threading.Thread(target=add, args=(number,)) for number in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    read = read_runs(home)
    assert [run.record.run for run in read.runs] == [1, 2, 3, 4, 5, 6]
    assert len({run.record.photos["before"].sha256 for run in read.runs}) == 6
    assert not read.unread


def test_a_machine_that_is_new_is_added_to_the_file(add: Add, home: Path) -> None:
    (home / "campaign.toml").write_text((home / "campaign.toml").read_text() + "# mine\n")
    add(1, machine="C")
    assert [machine.name for machine in read_campaign(home).machines] == ["A", "B", "C"]
    assert "# mine" in (home / "campaign.toml").read_text()


def test_run_json_is_plain(add: Add) -> None:
    found = json.loads((add(1).folder / "run.json").read_bytes())
    assert found["format"] == "debriscount/run/1"
    assert found["withdrawn"] is None


def test_who_adds_while_another_does_waits_and_then_says_so(home: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "WAIT_S", 0.2)
    refused = pytest.raises(OutputError, match="somebody else has been adding or changing runs for 0 s")
    with writing(home), refused, writing(home):
        pass
    with writing(home):  # it was let go of
        pass


def test_a_process_that_is_killed_lets_go(home: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The lock is the system's, not the file's being there."""
    code = "import sys, time; from pathlib import Path; from debriscount.campaign.file_run import writing\nwith writing(Path(sys.argv[1])): print('has it', flush=True); time.sleep(60)"
    child = subprocess.Popen([sys.executable, "-c", code, str(home)], stdout=subprocess.PIPE)
    assert child.stdout is not None
    assert child.stdout.readline().startswith(b"has it")
    monkeypatch.setattr(module, "WAIT_S", 0.0)
    with pytest.raises(OutputError, match="somebody else"), writing(home):
        pass
    child.kill()
    child.wait()
    child.stdout.close()
    assert (home / LOCK).exists()
    with writing(home):
        pass


@pytest.mark.skipif(sys.platform == "win32", reason="locks are of another kind there")
def test_a_disk_without_locks_costs_no_run(home: Path, add: Add, monkeypatch: pytest.MonkeyPatch) -> None:
    import fcntl

    def refuse(*_: object) -> None:
        raise OSError(errno.EOPNOTSUPP, "Operation not supported")

    monkeypatch.setattr(fcntl, "flock", refuse)
    assert add(1).record.run == 1


def test_folders_of_photos_are_shots_named_or_in_the_inbox(
    home: Path, photo: Callable[..., Path], measured: Callable[..., dict[str, bytes]]
) -> None:
    inbox = home / INBOX
    for number, shot in enumerate(("before", "after", "after2")):
        for part in range(3):
            photo(f"{part}.jpg", 10 * number + part, folder=inbox / shot)
    campaign = read_campaign(home)
    shots = shots_of_inbox(home, campaign, (), None).photos
    assert list(shots) == [f"{shot}-{part}" for shot in ("before", "after", "after2") for part in (1, 2, 3)]
    new = new_run(home, campaign, next_choice(campaign, (), machine="A"), shots, None)
    filed = add_run(home, campaign, new, shots, (), measured)
    assert {name: len(those) for name, those in by_shot(filed.record.photos).items()} == {
        "before": 3,
        "after": 3,
        "after2": 3,
    }
    assert filed.record.photos["after2-2"].file == "after2-2.jpg"
    assert (filed.folder / "after2-2.jpg").is_file()
    assert not any(inbox.iterdir())


def test_a_folder_of_photos_is_measured_as_one_shot(
    home: Path, photo: Callable[..., Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    class AskedError(Exception):
        pass

    def ask(patch: Path, before: object, afters: object, *, blank: object, **_: object) -> None:
        raise AskedError(before, afters, blank)

    monkeypatch.setattr("debriscount.run.measure.measure", ask)
    files = {
        name: photo(f"{name}.jpg", number) for number, name in enumerate(("blank", "before-1", "before-2", "after"))
    }
    with pytest.raises(AskedError) as asked:
        result_files(RunSources(patch=home / "patch.toml", photos=files))
    assert asked.value.args == ([files["before-1"], files["before-2"]], [[files["after"]]], [files["blank"]])
