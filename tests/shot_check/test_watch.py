import os
from collections.abc import Callable, Iterator
from itertools import islice
from pathlib import Path

import pytest

from debriscount.errors import PhotoFileError
from debriscount.shot_check.watch import arriving_photos


class OverError(Exception):
    """Nothing more is going to happen in the folder."""


def acting(*steps: Callable[[], object]) -> Callable[[float], None]:
    """Wait by doing the next thing to the folder."""
    left = iter(steps)

    def sleep(_: float) -> None:
        step = next(left, None)
        if step is None:
            raise OverError
        step()

    return sleep


def nothing() -> None:
    """Let time pass."""


def drain(photos: Iterator[Path]) -> list[str]:
    found = []
    with pytest.raises(OverError):
        for photo in photos:
            found.append(photo.name)
    return found


def test_a_photo_is_yielded_once_when_it_is_whole(tmp_path: Path) -> None:
    new = tmp_path / "new.JPG"
    steps = (
        lambda: new.write_bytes(b"half"),
        lambda: new.write_bytes(b"half and half"),
        nothing,
        nothing,
    )
    assert drain(arriving_photos(tmp_path, acting(*steps))) == ["new.JPG"]


def test_a_photo_that_is_written_on_is_not_yielded(tmp_path: Path) -> None:
    new = tmp_path / "new.jpg"
    steps = [lambda n=n: new.write_bytes(b"x" * n) for n in range(1, 6)]
    assert drain(arriving_photos(tmp_path, acting(*steps))) == []


def test_what_was_there_before_is_passed_over_until_it_changes(tmp_path: Path) -> None:
    old = tmp_path / "old.jpg"
    old.write_bytes(b"old")
    steps = (nothing, nothing, lambda: old.write_bytes(b"retaken"), nothing, nothing)
    assert drain(arriving_photos(tmp_path, acting(*steps))) == ["old.jpg"]


def test_only_photos_count(tmp_path: Path) -> None:
    def fill() -> None:
        for name in ("notes.txt", ".hidden.jpg", "photo.jpg.part", "empty.jpg"):
            (tmp_path / name).write_bytes(b"" if name.startswith("empty") else b"x")
        (tmp_path / "folder.jpg").mkdir()

    assert drain(arriving_photos(tmp_path, acting(fill, nothing, nothing))) == []


def test_photos_come_in_the_order_in_which_they_were_taken(tmp_path: Path) -> None:
    def fill() -> None:
        for age, name in enumerate(("b.jpg", "c.jpg", "a.jpg")):
            (tmp_path / name).write_bytes(b"x")
            os.utime(tmp_path / name, ns=(age * 10**9, age * 10**9))

    photos = arriving_photos(tmp_path, acting(fill, nothing))
    assert [photo.name for photo in islice(photos, 3)] == ["b.jpg", "c.jpg", "a.jpg"]


def test_a_folder_that_is_not_there_is_named(tmp_path: Path) -> None:
    with pytest.raises(
        PhotoFileError, match=r"nowhere: cannot be watched \(No such file or directory\)\. Give the folder"
    ):
        next(arriving_photos(tmp_path / "nowhere"))


def test_a_folder_that_vanishes_ends_the_watch(tmp_path: Path) -> None:
    folder = tmp_path / "inbox"
    folder.mkdir()
    with pytest.raises(PhotoFileError, match="cannot be watched"):
        next(arriving_photos(folder, acting(folder.rmdir)))
