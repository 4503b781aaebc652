"""Frames and their times; H.264 and HEVC, uneven times and turned films against PyAV, which reads containers itself."""

from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest

from debriscount.errors import FilmFileError
from debriscount.film.frames import FilmFile, frames_at, last_frames, open_film, sampled_frames, stretch_of, stretches

#: Times of frames as a phone sets them, uneven: 1/600 s.
UNEVEN = np.cumsum([0, 20, 21, 19, 20, 40, 20, 20, 60, 20, 20, 21, 20, 20, 19, 20, 80, 20, 20, 20, 20, 20, 20, 20])


def numbered(number: int) -> np.ndarray:
    """A frame that shows its number as brightness in its upper left, and is darker below."""
    image = np.full((96, 160, 3), 40, np.uint8)
    image[:48, :80] = 60 + 6 * number
    return image


def written(path: Path, count: int, rate: float = 10.0) -> Path:
    writer = cv2.VideoWriter(str(path), cv2.CAP_FFMPEG, cv2.VideoWriter.fourcc(*"mp4v"), rate, (160, 96))
    for number in range(count):
        writer.write(numbered(number))
    writer.release()
    return path


def test_a_film_says_what_it_is(tmp_path: Path) -> None:
    film = open_film(written(tmp_path / "a.mp4", 25))
    assert (film.size_px, film.rate, film.seconds) == ((160, 96), 10.0, 2.5)
    assert len(film.sha256) == 64


def test_samples_are_the_first_frames_from_each_time_on(tmp_path: Path) -> None:
    film = open_film(written(tmp_path / "a.mp4", 25))
    frames = list(sampled_frames(film, 0.45))
    assert [round(frame.t_s, 3) for frame in frames] == [0.0, 0.5, 0.9, 1.4, 1.8, 2.3]
    shown = [float(frame.bgr[:40, :70].mean()) for frame in frames]
    assert shown == pytest.approx([60 + 6 * n for n in (0, 5, 9, 14, 18, 23)], abs=5)


def test_steps_shorter_than_a_frame_give_every_frame(tmp_path: Path) -> None:
    film = open_film(written(tmp_path / "a.mp4", 12))
    assert len(list(sampled_frames(film, 0.01))) == 12


def test_frames_may_be_looked_at_smaller(tmp_path: Path) -> None:
    film = replace(open_film(written(tmp_path / "a.mp4", 5)), smaller=2)
    frames = list(sampled_frames(film, 0.01))
    assert {frame.bgr.shape for frame in frames} == {(48, 80, 3)}
    assert film.frame_px == (80, 48)
    assert frames[4].bgr[:20, :35].mean() == pytest.approx(84, abs=5)


def test_ends_are_found(tmp_path: Path) -> None:
    film = open_film(written(tmp_path / "a.mp4", 25))
    assert [frame.t_s for frame in frames_at(film, (0.0, 1.0, 9.0)) if frame is not None] == pytest.approx([0.0, 1.0])
    assert last_frames(film, (0.5,))[0].t_s == pytest.approx(2.0, abs=0.11)


def test_a_film_may_end_early() -> None:
    film = FilmFile(path=Path("a"), name="a", sha256="", size_px=(100, 100), seconds=60.0, rate=25.0, codec="")
    assert film.ends_early(40.0)
    assert not film.ends_early(59.9)


@pytest.mark.parametrize(("content", "words"), [(None, "is not there"), (b"no film at all", "is no film that OpenCV")])
def test_what_is_no_film_is_refused(tmp_path: Path, content: bytes | None, words: str) -> None:
    path = tmp_path / "a.mp4"
    if content is not None:
        path.write_bytes(content)
    with pytest.raises(FilmFileError, match=words):
        open_film(path)


def test_a_film_whose_index_is_missing_is_refused(tmp_path: Path) -> None:
    content = written(tmp_path / "a.mp4", 25).read_bytes()
    (tmp_path / "cut.mp4").write_bytes(content[: len(content) // 2])  # its index stands at the end
    with pytest.raises(FilmFileError, match="cut off before the index was written"):
        open_film(tmp_path / "cut.mp4")


def phone_film(path: Path, codec: str, turned: int = 0) -> Path:
    """A film with uneven times, by PyAV; turned as the container says."""
    av: Any = pytest.importorskip("av", reason="PyAV is not installed; it writes and reads the films to compare with")
    with av.open(str(path), "w") as out:
        stream = out.add_stream(codec, rate=30)
        stream.width, stream.height, stream.pix_fmt = 160, 96, "yuv420p"
        stream.time_base = stream.codec_context.time_base = Fraction(1, 600)
        if codec == "libx265":
            stream.codec_context.options = {"x265-params": "log-level=none"}
        for number, ticks in enumerate(UNEVEN):
            frame = av.VideoFrame.from_ndarray(numbered(number), format="bgr24")
            frame.pts, frame.time_base = int(ticks), Fraction(1, 600)
            out.mux(stream.encode(frame))
        out.mux(stream.encode())
    if turned:
        content = bytearray(path.read_bytes())
        # The track header's matrix, 16.16 fixed point (ISO 14496-12, 8.3.2): a quarter turn clockwise.
        start = content.index(b"tkhd") + 4 + 40
        assert content[start : start + 4] == (1 << 16).to_bytes(4)
        matrix = (0, 1 << 16, 0, (-1 << 16) % (1 << 32), 0, 0, 96 << 16, 0, 1 << 30)
        content[start : start + 36] = b"".join(value.to_bytes(4) for value in matrix)
        path.write_bytes(content)
    return path


@pytest.mark.parametrize("codec", ["libx264", "libx265"])
def test_times_are_the_containers_own(tmp_path: Path, codec: str) -> None:
    path = phone_film(tmp_path / "phone.mp4", codec)
    av: Any = pytest.importorskip("av")
    with av.open(str(path)) as container:
        own = sorted(float(frame.pts * frame.time_base) for frame in container.decode(video=0))
    frames = list(sampled_frames(open_film(path), 0.001))
    # Independent: PyAV 18.1.0. OpenCV tells milliseconds.
    assert [frame.t_s for frame in frames] == pytest.approx(own, abs=1e-3)
    assert [frame.t_s for frame in frames] == pytest.approx(UNEVEN / 600 + own[0], abs=1e-3)


def test_a_film_is_turned_as_its_file_says(tmp_path: Path) -> None:
    film = open_film(phone_film(tmp_path / "upright.mp4", "libx264", turned=90))
    assert film.size_px == (96, 160)
    (frame, *_) = sampled_frames(film, 0.001)
    # A quarter turn clockwise brings the upper left to the upper right.
    assert frame.bgr[:60, 60:].mean() > frame.bgr[100:, 60:].mean() + 5
    assert frame.bgr[:60, 60:].mean() > frame.bgr[:60, :36].mean() + 5


@pytest.mark.parametrize("codec", ["libx264", "libx265"])
def test_stretches_together_are_the_film(tmp_path: Path, codec: str) -> None:
    film = open_film(phone_film(tmp_path / "phone.mp4", codec))
    for step in (0.05, 0.1):
        whole = list(sampled_frames(film, step))
        parts = [frame for begin in range(0, 20, 4) for frame in stretch_of(film, step, begin, begin + 4)]
        parts += list(stretch_of(film, step, 20, None))
        assert [frame.t_s for frame in parts if frame is not None] == [frame.t_s for frame in whole]
        assert all(np.array_equal(a.bgr, b.bgr) for a, b in zip(filter(None, parts), whole, strict=True))


def test_a_stretch_tells_that_the_film_ended_before_it(tmp_path: Path) -> None:
    film = open_film(written(tmp_path / "a.mp4", 25))
    assert None not in list(stretch_of(film, 0.2, 0, 5))
    assert list(stretch_of(film, 0.2, 10, 20))[-1] is None
    assert list(stretch_of(film, 0.2, 50, 60)) == [None]


def test_stretches_depend_on_the_film_alone() -> None:
    film = FilmFile(path=Path("a"), name="a", sha256="", size_px=(100, 100), seconds=3600.0, rate=25.0, codec="")
    parts = stretches(film, 0.2, 10)
    assert parts[0] == (0, 100)
    assert parts[-1] == (17900, None)
    assert [end for _, end in parts[:-1]] == [begin for begin, _ in parts[1:]]
    assert stretches(replace(film, seconds=None), 0.2, 10) == [(0, None)]
    assert stretches(replace(film, seconds=30.0), 0.2, 10)[:2] == [(0, 30), (30, 60)]
