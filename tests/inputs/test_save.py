import os
from pathlib import Path

import pytest

from debriscount.errors import OutputError
from debriscount.inputs.save import refuse_existing, save_files


def names(folder: Path) -> list[str]:
    return sorted(path.relative_to(folder).as_posix() for path in folder.rglob("*") if not path.is_dir())


def test_files_are_written_with_the_folders_above(tmp_path: Path) -> None:
    files = {tmp_path / "a" / "b" / "one.txt": b"1", tmp_path / "two.txt": b"2"}
    assert save_files(files) == list(files)
    assert names(tmp_path) == ["a/b/one.txt", "two.txt"]
    assert (tmp_path / "two.txt").read_bytes() == b"2"
    (tmp_path / "usual").touch()
    assert (tmp_path / "two.txt").stat().st_mode == (tmp_path / "usual").stat().st_mode


def test_what_is_there_stays_unless_told(tmp_path: Path) -> None:
    old = tmp_path / "old.txt"
    old.write_text("old")
    with pytest.raises(OutputError, match=r"old\.txt: is there already\. Choose another name, or add --overwrite"):
        save_files({tmp_path / "new.txt": b"", old: b""})
    assert names(tmp_path) == ["old.txt"]
    old.chmod(0o600)
    save_files({old: b"new"}, overwrite=True)
    assert old.read_text() == "new"
    assert old.stat().st_mode & 0o777 == 0o600


def test_a_link_stays_a_link(tmp_path: Path) -> None:
    real, link = tmp_path / "real.txt", tmp_path / "link.txt"
    real.write_text("old")
    link.symlink_to(real)
    save_files({link: b"new"}, overwrite=True)
    assert link.is_symlink()
    assert real.read_text() == "new"


def test_a_folder_in_the_way_is_refused(tmp_path: Path) -> None:
    (tmp_path / "folder").mkdir()
    with pytest.raises(OutputError, match=r"folder: is a folder\. Give the name of a file\."):
        save_files({tmp_path / "new.txt": b"", tmp_path / "folder": b""}, overwrite=True)
    assert names(tmp_path) == []


def test_a_failure_leaves_what_was(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    old = tmp_path / "old.txt"
    old.write_text("old")

    def full(descriptor: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(OutputError, match=r"old\.txt: cannot be written \(No space left on device\)\. Give a place"):
        save_files({old: b"new"}, overwrite=True)
    assert names(tmp_path) == ["old.txt"]
    assert old.read_text() == "old"


def test_a_file_for_a_folder_is_refused(tmp_path: Path) -> None:
    (tmp_path / "file").touch()
    with pytest.raises(OutputError, match="cannot be written"):
        save_files({tmp_path / "file" / "new.txt": b""})


def test_nothing_there_is_fine(tmp_path: Path) -> None:
    refuse_existing([tmp_path / "new.txt"])


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="the system has no pipes with names")
def test_a_device_or_pipe_is_not_replaced(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe.txt")
    with pytest.raises(OutputError, match=r"pipe\.txt: is a device or pipe, which cannot be replaced\. Give the name"):
        save_files({tmp_path / "pipe.txt": b""}, overwrite=True)
    assert (tmp_path / "pipe.txt").is_fifo()


def test_a_name_that_cannot_be_is_refused(tmp_path: Path) -> None:
    for name in ("a\0b.txt", "a" * 300):
        with pytest.raises(OutputError, match="cannot be written"):
            save_files({tmp_path / name: b""})


def test_a_refusal_in_one_folder_leaves_the_others_alone(tmp_path: Path) -> None:
    (tmp_path / "b").mkdir()
    (tmp_path / "b" / "old.txt").write_text("old")
    with pytest.raises(OutputError, match="is there already"):
        save_files({tmp_path / "a" / "new.txt": b"", tmp_path / "b" / "old.txt": b""})
    assert names(tmp_path) == ["b/old.txt"]
    assert not (tmp_path / "a").exists()
