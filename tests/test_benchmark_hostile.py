"""The benchmark of hostile files, on a few: that it sees what it looks for."""

import sys
import time
from pathlib import Path
from typing import Any

import numpy as np
import pytest

pytestmark = pytest.mark.skipif(not sys.platform.startswith("linux"), reason="watches memory as Linux has it")


def test_every_file_of_a_kind_is_told_of(load: Any) -> None:
    endings = load("hostile").read_files("text", 12)
    assert sum(endings.ended.values()) == 12
    assert endings.held


@pytest.mark.parametrize(
    ("ended", "mib", "seconds", "held"),
    [("refused", 10, 1, True), ("other", 10, 1, False), ("read", 2000, 1, False), ("read", 10, 30, False)],
)
def test_what_misses_a_bar_is_no_success(load: Any, ended: str, mib: float, seconds: float, held: bool) -> None:
    hostile = load("hostile")
    assert hostile.Endings(hostile.Counter([ended]), mib, seconds).held == held


def test_a_mixed_folder_is_not_whole(load: Any, tmp_path: Path) -> None:
    hostile = load("hostile_writers")
    (tmp_path / "run").mkdir()
    for name, text in (("measurement.json", "old"), ("zones.csv", "old")):
        (tmp_path / "run" / name).write_text(text)
    old = hostile.state_of(tmp_path)
    assert hostile.is_whole(tmp_path, (old,), "measurement.json")
    (tmp_path / "run" / "zones.csv").write_text("new")
    assert not hostile.is_whole(tmp_path, (old,), "measurement.json")
    (tmp_path / "run" / "measurement.json").unlink()  # nothing says that a result is there
    assert hostile.is_whole(tmp_path, (old,), "measurement.json")


def test_texts_are_spoilt_in_many_ways(load: Any) -> None:
    files = load("hostile_files")
    name, whole = files.whole_texts()[0]
    assert name == "patch"
    spoilt = {files.spoilt_text(whole, np.random.default_rng(seed)) for seed in range(50)}
    assert len(spoilt) > 45
    assert whole not in spoilt


@pytest.mark.filterwarnings("ignore:This process:DeprecationWarning")  # a fork among threads, which do not write
def test_a_writer_that_puts_files_one_by_one_is_found_out(load: Any) -> None:
    hostile = load("hostile_writers")

    def one_by_one(out: Path, number: int) -> None:
        for name in ("record.json", "a.csv"):
            (out / "new").write_text(f"{name} {number}")
            (out / "new").rename(out / name)

    told = hostile.killed_at_changes(hostile.Writer(one_by_one, "record.json"))
    assert told["killed"] == 4
    # Over nothing the record may lie there alone; over an earlier result one name may be new and one old, and before that
    # a file that belongs to neither.
    assert told["not whole"] == 3


@pytest.mark.filterwarnings("ignore:This process:DeprecationWarning")
def test_two_writers_that_mix_are_found_out(load: Any) -> None:
    hostile = load("hostile_writers")

    def slowly(out: Path, number: int) -> None:
        for name in ("record.json", "a.csv")[:: 1 if number else -1]:
            (out / name).write_text(f"{name} {number}")
            time.sleep(0.3)  # long enough for the other to have begun on a busy machine

    assert hostile.two_at_once(hostile.Writer(slowly, "record.json"), 6)["mixed"] > 0
