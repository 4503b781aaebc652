"""Writers killed before each of their changes to the disk, and two writers at once.

Killed are processes of their own (`killed_writer.py`).
"""

import importlib.util
import json
import subprocess
import sys
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

from debriscount.errors import OutputError
from debriscount.inputs import exchange, lock
from debriscount.inputs.exchange import settle, written

SCRIPT = Path(__file__).with_name("killed_writer.py")


def _script() -> ModuleType:
    spec = importlib.util.spec_from_file_location("killed_writer", SCRIPT)
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


WRITER = _script()
NAMES, OTHERS, put = WRITER.NAMES, WRITER.OTHERS, WRITER.put


def state(folder: Path) -> dict[str, str]:
    return {
        path.relative_to(folder).as_posix(): path.read_text() for path in sorted(folder.rglob("*")) if path.is_file()
    }


def whole(names: tuple[str, ...], tag: str) -> dict[str, str]:
    return {name: f"{tag} {name}" for name in sorted(names)}


def killed(out: Path, number: int, old: bool) -> bool:
    """Whether a writer that dies before its change of that number did get so far."""
    done = subprocess.run([sys.executable, SCRIPT, str(out), str(number), str(int(old))], check=False)
    assert done.returncode in (0, 9)
    return done.returncode == 9


@pytest.mark.parametrize("there", ["nothing", "others", "result"])
def test_killed_before_any_change_old_or_new_is_whole_and_nothing_is_left(tmp_path: Path, there: str) -> None:
    number = 0
    while True:
        home = tmp_path / str(number)
        out = home / "out"
        home.mkdir()
        mine = {} if there == "nothing" else {"notes.txt": "mine"}
        old: dict[str, str] = {}
        if there != "nothing":
            out.mkdir()
            (out / "notes.txt").write_text("mine")
        if there == "result":
            put(out, NAMES, "old")
            old = whole(NAMES, "old")
        reached = killed(out, number, there == "result")
        after = state(out) if out.is_dir() else {}
        if "record.json" in after:  # which says that a result is there: it is whole then
            parts = {name: text for name, text in after.items() if ".part/" not in name}
            assert parts in ({**old, **mine}, {**whole(OTHERS, "new"), **mine})
        settle(out, "out")
        settled = state(out) if out.is_dir() else {}
        assert settled in ({**old, **mine}, {**whole(OTHERS, "new"), **mine})
        assert {path.name for path in home.iterdir()} <= {"out"}
        put(out, NAMES, "newest")
        assert state(out) == {**whole(NAMES, "newest"), **mine}
        assert [path.name for path in home.iterdir()] == ["out"]
        if not reached:
            break
        number += 1
    assert number >= {"nothing": 2, "others": 9, "result": 13}[there]


@pytest.mark.parametrize("number", [5, 9, 12])
def test_a_writer_that_dies_while_another_is_at_work_takes_nothing_from_it(tmp_path: Path, number: int) -> None:
    """Its plan, older than the other's result, must not be carried out upon that."""
    out = tmp_path / "out"
    put(out, NAMES, "old")

    def late() -> bytes:
        killed(out, number, True)
        return b"late a.csv"

    WRITER.put_files(
        out,
        {"record.json": lambda: b"late record.json", "a.csv": late},
        lambda: [path.name for path in out.iterdir() if path.is_file()],
        "out",
    )
    settle(out, "out")
    assert state(out) == whole(("record.json", "a.csv"), "late")
    assert [path.name for path in tmp_path.iterdir()] == ["out"]


def test_a_plan_for_a_folder_that_was_taken_away_is_given_up(tmp_path: Path) -> None:
    work = tmp_path / ".out-0123abcd.part"
    (work / ".old").mkdir(parents=True)
    (work / ".old" / "a.csv").write_text("old")
    (work / ".plan").write_text(json.dumps({"beside": "out", "names": list(NAMES)}))
    put(tmp_path / "out", NAMES, "new")
    assert state(tmp_path) == {f"out/{name}": f"new {name}" for name in sorted(NAMES)}


def test_undoing_may_be_killed_too(tmp_path: Path) -> None:
    """A kill while old files go back is undone by the next; the plan says what is new."""
    out = tmp_path / "out"
    put(out, NAMES, "old")
    work = out / ".out-0123abcd.part"
    (work / ".old").mkdir(parents=True)
    (work / ".plan").write_text(json.dumps({"beside": "", "names": list(OTHERS)}))
    for name in NAMES:
        (out / name).rename(work / ".old" / name)
    for name in OTHERS:  # two new ones are in place, one old one is back
        (work / name if name in ("record.json", "a.csv", "b.jpg") else out / name).write_text(f"new {name}")
    (work / ".old" / "a.csv").rename(out / "a.csv")
    settle(out, "out")
    assert state(out) == whole(NAMES, "old")


def test_a_file_put_in_the_place_of_an_old_one_is_not_lost(tmp_path: Path) -> None:
    out = tmp_path / "out"
    work = out / ".out-0123abcd.part"
    (work / ".old").mkdir(parents=True)
    (work / ".plan").write_text(json.dumps({"beside": "", "names": list(NAMES)}))
    for name in NAMES:
        (work / name).write_text("new")
    (work / ".old" / "a.csv").write_text("old")
    (out / "a.csv").write_text("mine")
    with pytest.raises(
        OutputError, match=r"a\.csv: stands where a file of an earlier result belongs, which is now .*\.old/a\.csv"
    ):
        settle(out, "out")
    assert (out / "a.csv").read_text() == "mine"
    (out / "a.csv").rename(tmp_path / "mine.csv")
    settle(out, "out")
    assert state(out) == {"a.csv": "old"}


@pytest.mark.parametrize(
    "plan", ["", "[]", "{", '{"beside": 1, "names": 2}', '{"beside": "../x", "names": ["../../y"]}']
)
def test_a_strange_plan_moves_nothing_elsewhere(tmp_path: Path, plan: str) -> None:
    home = tmp_path / "home"
    work = home / "out" / ".out-0123abcd.part"
    (work / ".old").mkdir(parents=True)
    (work / ".plan").write_text(plan)
    (tmp_path / "y").write_text("mine")
    settle(home / "out", "out")
    assert state(tmp_path) == {"y": "mine"}
    assert list((home / "out").iterdir()) == []


def test_work_of_a_live_writer_is_left_alone(tmp_path: Path) -> None:
    work = tmp_path / ".out-0123abcd.part"
    work.mkdir()
    held = lock.hold(work)
    assert held is not None
    settle(tmp_path / "out", "out")
    assert work.is_dir()
    held.release()
    settle(tmp_path / "out", "out")
    assert not work.exists()


def test_a_writer_that_clears_away_meanwhile_is_no_matter(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(exchange, "_work_folders", lambda *_: [tmp_path / ".out-0123abcd.part"])
    put(tmp_path / "out", NAMES, "new")
    assert state(tmp_path) == {f"out/{name}": f"new {name}" for name in sorted(NAMES)}


def test_names_that_only_look_like_ours_are_left_alone(tmp_path: Path) -> None:
    (tmp_path / ".out-0123abcd.part").write_text("a file")
    for name in (".out-notes.part", ".other-0123abcd.part", "out-0123abcd.part"):
        (tmp_path / name).mkdir()
    settle(tmp_path / "out", "out")
    assert len(list(tmp_path.iterdir())) == 4


def test_a_folder_kept_too_long_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(lock, "WAIT_S", 0.0)
    with (
        lock.locked(tmp_path),
        pytest.raises(OutputError, match="another process has been writing there for 0 s"),
        lock.locked(tmp_path),
    ):
        pass
    with lock.locked(tmp_path):  # it was let go of
        pass


@pytest.mark.skipif(sys.platform == "win32", reason="locks are files there")
def test_a_disk_without_locks_costs_no_result(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    import fcntl

    def refuse(*_: object) -> None:
        raise OSError(95, "Operation not supported")

    monkeypatch.setattr(fcntl, "flock", refuse)
    (tmp_path / ".out-0123abcd.part").mkdir()
    put(tmp_path / "out", NAMES, "new")
    assert state(tmp_path / "out") == whole(NAMES, "new")
    assert (tmp_path / ".out-0123abcd.part").is_dir()  # whose writer may be alive


def test_two_writers_at_once_do_not_mix(tmp_path: Path) -> None:
    out = tmp_path / "out"
    for _ in range(2):
        writers = [subprocess.Popen([sys.executable, SCRIPT, str(out), "-1", str(n)]) for n in (0, 1)]
        assert [writer.wait() for writer in writers] == [0, 0]
        assert state(out) in (whole(OTHERS, "new"), whole(NAMES, "other"))
        assert [path.name for path in tmp_path.iterdir()] == ["out"]


def test_what_was_written_is_known(tmp_path: Path) -> None:
    put(tmp_path / "known", NAMES, "new")
    assert tmp_path / "known" in written()

    def refuse() -> None:
        raise OutputError("no")

    with pytest.raises(OutputError, match="no"):
        put(tmp_path / "refused", NAMES, "new", refuse)
    assert tmp_path / "refused" not in written()
    assert not (tmp_path / "refused").exists()


def test_a_folder_above_that_may_not_be_looked_into_is_no_matter(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "out").mkdir()
    look = Path.iterdir

    def refuse(self: Path) -> Any:
        if self == tmp_path:
            raise PermissionError(13, "Permission denied")
        return look(self)

    monkeypatch.setattr(Path, "iterdir", refuse)
    put(tmp_path / "out", NAMES, "new")
    monkeypatch.undo()
    assert state(tmp_path / "out") == whole(NAMES, "new")
