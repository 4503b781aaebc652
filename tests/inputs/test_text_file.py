import os
from pathlib import Path

import pytest

from debriscount.errors import InputFileError
from debriscount.inputs.debris_file import read_debris
from debriscount.inputs.lens_file import read_lens
from debriscount.inputs.patch_file import read_patch
from debriscount.inputs.text_file import MOST_BYTES, file_text
from debriscount.inputs.weighing_file import read_weighing

READERS = (read_patch, read_debris, read_lens, read_weighing)


def test_the_mark_of_the_order_of_bytes_is_left_out(tmp_path: Path) -> None:
    (tmp_path / "a.toml").write_bytes("\ufeffü".encode())
    assert file_text(tmp_path / "a.toml", "file") == "ü"


@pytest.mark.parametrize("read", READERS)
def test_what_does_not_end_is_not_read(tmp_path: Path, read: object) -> None:
    assert callable(read)
    if hasattr(os, "mkfifo"):
        os.mkfifo(tmp_path / "pipe")
        with pytest.raises(
            InputFileError, match=r"pipe: is a pipe, device or socket, not a file\. Give the path of the"
        ):
            read(tmp_path / "pipe")
    if Path("/dev/zero").exists():
        with pytest.raises(InputFileError, match="/dev/zero: is a pipe, device or socket"):
            read("/dev/zero")


@pytest.mark.parametrize("read", READERS)
def test_a_file_beyond_all_need_is_refused(tmp_path: Path, read: object) -> None:
    assert callable(read)
    (tmp_path / "a.toml").write_bytes(b"#" * (MOST_BYTES + 1))
    with pytest.raises(InputFileError, match=r"a\.toml: is larger than 1 MB, more than any \w+ file"):
        read(tmp_path / "a.toml")


def test_bytes_that_are_no_text_are_told_with_their_line(tmp_path: Path) -> None:
    (tmp_path / "a.toml").write_bytes(b"[patch]\nname = 'k\xfcche'\n")
    with pytest.raises(InputFileError, match=r"a\.toml line 2: is not UTF-8 text\. Give a file, saved as UTF-8"):
        file_text(tmp_path / "a.toml", "file")


def test_a_path_that_cannot_be_is_told() -> None:
    with pytest.raises(InputFileError, match="is not a valid path"):
        file_text(Path("a\0b"), "file")
    with pytest.raises(InputFileError, match="cannot be read"):
        file_text(Path("a" * 5000), "file")


def test_a_file_that_does_not_tell_its_size_is_read_whole() -> None:
    version = Path("/proc/version")
    if not version.exists():
        pytest.skip("only Linux has files of that kind at hand")
    assert version.stat().st_size == 0
    assert file_text(version, "file") == version.read_text(encoding="utf-8")
