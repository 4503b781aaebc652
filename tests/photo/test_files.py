"""Paths that lead to a photo, and paths that lead astray: none may hang, and all are told on one line."""

import os
import socket
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray
from PIL import Image

from debriscount.errors import PhotoFileError
from debriscount.photo.read import read_photo
from debriscount.printable import printable

Picture = Callable[..., NDArray[np.uint8]]


@pytest.fixture
def photo(tmp_path: Path, picture: Picture) -> Path:
    file = tmp_path / "a.png"
    Image.fromarray(picture()).save(file)
    return file


def refused(path: Path, words: str, **options: float) -> None:
    with pytest.raises(PhotoFileError, match=words) as told:
        read_photo(path, **options)
    assert len(str(told.value).splitlines()) == 1


@pytest.mark.parametrize(
    "name", ["two words.png", "größer ñ 床.png", 'it\'s "quoted".png', "-v.png", "%s{}.png", "a.jpg"]
)
def test_names_are_taken_as_they_are(tmp_path: Path, photo: Path, name: str) -> None:
    photo.rename(tmp_path / name)
    assert read_photo(tmp_path / name).file == name
    assert read_photo(str(tmp_path / name)).file == name


@pytest.mark.skipif(os.name == "nt", reason="no such names there")
@pytest.mark.parametrize(
    ("name", "told"), [(b"a\nb.png", "a\ufffdb.png"), (b"a\xff\x1b[31m.png", "a\ufffd\ufffd[31m.png")]
)
def test_names_that_spoil_a_line_are_read_and_told_on_one(tmp_path: Path, photo: Path, name: bytes, told: str) -> None:
    path = tmp_path / os.fsdecode(name)
    refused(path, "there is no such file")
    photo.rename(path)
    found = read_photo(path)
    assert found.name == found.file == told
    found.name.encode("utf-8")  # as it is written into records
    path.write_bytes(b"text")
    refused(path, "is no photo that can be read")


@given(st.text())
def test_what_is_printable_stays_on_a_line_and_is_utf8(text: str) -> None:
    assert len(printable(text + "x").splitlines()) == 1
    printable(text).encode("utf-8")
    assert len(printable(text)) == len(text)


def test_links_are_followed(tmp_path: Path, photo: Path) -> None:
    link = tmp_path / "link.jpg"
    link.symlink_to("second.jpg")
    (tmp_path / "second.jpg").symlink_to(photo)
    assert read_photo(link).file == "link.jpg"


def test_links_to_nothing_and_in_a_ring_are_told_apart(tmp_path: Path) -> None:
    (tmp_path / "gone.jpg").symlink_to("nothing.jpg")
    refused(tmp_path / "gone.jpg", r"gone\.jpg: is a link to a file that is not there\. Give the path of a photo\.")
    (tmp_path / "ring.jpg").symlink_to("ring.jpg")
    refused(tmp_path / "ring.jpg", r"ring\.jpg: cannot be read \(.+\)\. Check the path and the file's rights\.")


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no pipes with a name here")
def test_pipes_devices_and_sockets_are_not_opened(tmp_path: Path) -> None:
    words = r"is a pipe, device or socket, not a file\. Give the path of a photo\."
    os.mkfifo(tmp_path / "pipe.jpg")  # to open it would wait for ever
    refused(tmp_path / "pipe.jpg", words)
    (tmp_path / "link.jpg").symlink_to("pipe.jpg")
    refused(tmp_path / "link.jpg", words)
    refused(Path("/dev/zero"), words)
    with socket.socket(socket.AF_UNIX) as unix:
        here = Path.cwd()
        try:
            os.chdir(tmp_path)  # a socket's path must be short
            unix.bind("s.jpg")
        finally:
            os.chdir(here)
    refused(tmp_path / "s.jpg", words)


def test_paths_that_cannot_be_are_told_of(tmp_path: Path, photo: Path) -> None:
    refused(Path("a\0b.jpg"), r"a\ufffdb\.jpg: is not a valid path\. Give the path of a photo\.")
    refused(tmp_path / ("a" * 5000), r"cannot be read \(.+\)")
    refused(photo / "a.jpg", r"cannot be read \(.+\)|there is no such file")
    refused(Path(), r"is a folder\. Give the path of a photo in it\.")


def test_a_file_too_large_for_a_photo_is_not_even_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    file = tmp_path / "a.jpg"
    with file.open("wb") as sparse:
        sparse.truncate(64_000_000 + 8 * 2_000_000 + 1)
    monkeypatch.setattr(Path, "open", lambda *_: pytest.fail("opened"))
    refused(
        file,
        r"a\.jpg: is larger than 80 megabytes, more than a photo can take\. Give the photo as the camera made it, or "
        r"raise the limit \(--most-megapixels\)\.",
        most_megapixels=2,
    )


def test_a_file_that_grows_while_it_is_read_is_refused(
    tmp_path: Path, photo: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("debriscount.photo.limits.BYTES_BESIDE", photo.stat().st_size)
    monkeypatch.setattr("debriscount.photo.limits.BYTES_PER_PIXEL", 0)
    assert read_photo(photo).grey is False
    before = photo.stat()
    with photo.open("ab") as file:
        file.write(bytes(10_000))
    monkeypatch.setattr(Path, "stat", lambda *_, **__: before)
    refused(photo, "is larger than 0 megabytes")


@pytest.mark.parametrize("limit", [0, -1, float("nan"), float("inf")])
def test_a_limit_that_is_none_is_refused(photo: Path, limit: float) -> None:
    refused(
        photo,
        rf"a\.png: cannot be read: most megapixels must be a number above 0, got {limit:g}\.",
        most_megapixels=limit,
    )


def test_the_limit_of_pixels_can_be_moved(photo: Path) -> None:
    refused(photo, r"a\.png: has 90 x 70 px, more than 0\.006 megapixels\. Give the photo as", most_megapixels=0.006)
    assert read_photo(photo, most_megapixels=0.0063).pixels.shape == (70, 90, 3)
