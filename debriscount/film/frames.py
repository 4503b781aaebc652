"""Films read frame by frame, each with the time that the file itself gives it."""

import hashlib
import math
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass
from os import PathLike
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from ..errors import FilmFileError
from ..printable import printable

#: Frames must be at least so many pixels wide and high, as photos must.
LEAST_SIDE_PX = 64
#: Seconds by which a film may end before its file says it does: the last frame's own length, and rounding.
_SHORT_S = 1.0
#: Where a film's end is sought, as shares of its length: a film that is cut off ends earlier than it says.
_ENDS = (1.0, 0.98, 0.95, 0.9, 0.8, 0.7, 0.6, 0.5, 0.4, 0.3, 0.2, 0.1)
_CHUNK = 1 << 20
#: Half a millisecond: containers count in ticks, and a frame of 2 s may be one of 1.9999.
_TICK_S = 5e-4
#: Seconds before a stretch at which it is sought; a film that cannot be sought in is read from its start.
_LEADS_S = (0.5, 4.0, 30.0)
#: Steps of a stretch at least and at most, and how many stretches a film has in between: seeking a stretch costs up to
#: what lies between two of a film's key frames, and what is seen of it takes a fifth of a megabyte a sample.
_SHORT, _LONG, _STRETCHES = 25, 100, 16
#: What stands for the pixels of a frame of the next stretch, which nobody looks at.
_NOTHING = np.zeros((0, 0, 3), np.uint8)


@dataclass(frozen=True, slots=True, kw_only=True)
class FilmFile:
    """A film as its file describes it.

    ``size_px`` is width and height as it is watched, turned as the file says; ``seconds`` what the file claims, None if
    it claims nothing; ``rate`` frames a second on average; ``codec`` four letters. Frames that show more than is needed
    are looked at ``smaller`` by a whole factor.
    """

    path: Path
    name: str
    sha256: str
    size_px: tuple[int, int]
    seconds: float | None
    rate: float
    codec: str
    smaller: int = 1

    @property
    def frame_px(self) -> tuple[int, int]:
        """Width and height of the frames that are looked at."""
        return self.size_px[0] // self.smaller, self.size_px[1] // self.smaller

    def ends_early(self, last_s: float) -> bool:
        """Whether a film whose last frame is of this time lacks what the file claims."""
        return self.seconds is not None and last_s < self.seconds - max(_SHORT_S, 2 / self.rate)


@dataclass(frozen=True, slots=True, eq=False)
class Frame:
    """One frame: its time in the film, s, and its pixels in the order blue, green, red, shape (H, W, 3)."""

    t_s: float
    bgr: NDArray[np.uint8]


def open_film(path: str | PathLike[str]) -> FilmFile:
    """Look at a film file.

    Parameters
    ----------
    path : path-like
        A film in any form that OpenCV's FFmpeg reads, H.264 and HEVC among them.

    Returns
    -------
    FilmFile

    Raises
    ------
    FilmFileError
        The file is missing, no film, or shows too little.
    """
    path = Path(path)
    if not path.is_file():
        raise FilmFileError(f"{printable(path)}: is not there, or no file. Give the path of a film.")
    try:
        with path.open("rb") as file:
            total = hashlib.sha256()
            while chunk := file.read(_CHUNK):
                total.update(chunk)
    except OSError as error:
        raise FilmFileError(f"{printable(path)}: cannot be read ({error.strerror or error}).") from None
    with _capture(path) as film:
        done, image = film.read()
        if not done or image is None:
            raise _unreadable(path)
        rate = film.get(cv2.CAP_PROP_FPS)
        count = film.get(cv2.CAP_PROP_FRAME_COUNT)
        code = int(film.get(cv2.CAP_PROP_FOURCC))
    rate = float(rate) if math.isfinite(rate) and rate > 0 else 25.0
    height, width = image.shape[:2]
    if min(width, height) < LEAST_SIDE_PX:
        raise FilmFileError(
            f"{printable(path)}: is {width} x {height} px. Give a film of at least {LEAST_SIDE_PX} px on each side."
        )
    return FilmFile(
        path=path.absolute(),
        name=printable(path.name),
        sha256=total.hexdigest(),
        size_px=(width, height),
        seconds=float(count) / rate if math.isfinite(count) and count > 0 else None,
        rate=rate,
        codec=printable("".join(chr(code >> shift & 255) for shift in (0, 8, 16, 24))).strip(),
    )


def _unreadable(path: Path) -> FilmFileError:
    return FilmFileError(
        f"{printable(path)}: is no film that OpenCV can read, or its recording was cut off before the index was "
        "written. Copy it from the camera again, or export it as MP4."
    )


@contextmanager
def _capture(path: Path) -> Iterator[cv2.VideoCapture]:
    film = cv2.VideoCapture(str(path), cv2.CAP_FFMPEG)
    try:
        if not film.isOpened():
            raise _unreadable(path)
        yield film
    finally:
        film.release()


def sampled_frames(film: FilmFile, step_s: float) -> Iterator[Frame]:
    """Frames of a film in order, one for every ``step_s``: the first at or after each multiple of it.

    Parameters
    ----------
    film : FilmFile
        As `open_film` gives it.
    step_s : float
        Above 0; steps shorter than a frame give every frame.

    Yields
    ------
    Frame
        The next is decoded while one is worked on; a film that is cut off ends where it does.
    """
    yield from (frame for frame in stretch_of(film, step_s, 0, None) if frame is not None)


def stretches(film: FilmFile, step_s: float, whole: int) -> list[tuple[int, int | None]]:
    """A film in stretches, each from which multiple of a step to which; the last goes on to the film's end.

    They depend on the film alone, not on how many are at work, and hold ``whole`` steps or a multiple of it where that
    is not more than a stretch.
    """
    steps = math.ceil((film.seconds or 0.0) / step_s)
    length = min(max(steps // _STRETCHES, _SHORT), _LONG)
    length = -(-length // whole) * whole if whole <= length else length
    begins = range(0, max(steps, 1), length)
    return [(begin, begin + length if begin + length < steps else None) for begin in begins]


def stretch_of(film: FilmFile, step_s: float, begin: int, end: int | None) -> Iterator[Frame | None]:
    """Frames from multiple ``begin`` of a step to multiple ``end``, as `sampled_frames` has them of the whole film.

    Yields
    ------
    Frame or None
        None last, where the film ends before the stretch does; ``end`` None is the film's own end.
    """
    with _capture(film.path) as capture, ThreadPoolExecutor(1) as pool:
        reader = _Reader(capture, film)
        stop = math.inf if end is None else end * step_s - _TICK_S
        ahead = pool.submit(reader.begin, begin * step_s)
        while (frame := ahead.result()) is not None and frame.t_s < stop:
            due = (math.floor(frame.t_s / step_s + 1e-6) + 1) * step_s
            ahead = pool.submit(reader.next_due, due, stop)
            yield frame
        if frame is None:
            yield None


class _Reader:
    """A film at its place; times go up from frame to frame, whatever the file says."""

    def __init__(self, capture: cv2.VideoCapture, film: FilmFile) -> None:
        self._capture, self._film, self._last = capture, film, -math.inf

    def begin(self, due_s: float) -> Frame | None:
        """The first frame from a time on, which is sought for."""
        for lead in _LEADS_S:
            if due_s <= lead:
                break
            self._capture.set(cv2.CAP_PROP_POS_MSEC, 1000 * (due_s - lead))
            # Only what is seen to lie before is sure to miss nothing.
            if self._capture.grab() and 0 <= (t := self._capture.get(cv2.CAP_PROP_POS_MSEC) / 1000) < due_s - _TICK_S:
                self._last = t
                return self.next_due(due_s)
        self._capture.open(str(self._film.path), cv2.CAP_FFMPEG)
        return self.next_due(due_s)

    def next_due(self, due_s: float, stop_s: float = math.inf) -> Frame | None:
        """The first frame from a time on; None where the film has ended. Frames before it are not converted."""
        while self._capture.grab():
            t = self._capture.get(cv2.CAP_PROP_POS_MSEC) / 1000
            if not math.isfinite(t) or t <= self._last:
                t = self._last + 1 / self._film.rate if math.isfinite(self._last) else 0.0
            self._last = t
            if t >= stop_s:
                return Frame(t, _NOTHING)
            if t >= due_s - _TICK_S:
                done, image = self._capture.retrieve()
                if done:
                    return Frame(t, shrunk(image, self._film))
        return None


def last_frames(film: FilmFile, before_s: tuple[float, ...]) -> list[Frame]:
    """Frames so many seconds before the film's end, those that can be reached; FilmFileError if there are none.

    Of a film that is cut off the end is where it can still be read.
    """
    seconds = film.seconds or 0.0
    with _capture(film.path) as capture:
        for share in _ENDS:
            end = share * seconds
            found = [frame for early in before_s if (frame := _frame_at(capture, film, end - early)) is not None]
            if found:
                return found
    raise _unreadable(film.path)


def frames_at(film: FilmFile, times_s: Sequence[float]) -> Iterator[Frame | None]:
    """Frames at some times, None for those that cannot be reached."""
    with _capture(film.path) as capture:
        yield from (_frame_at(capture, film, t) for t in times_s)


def _frame_at(capture: cv2.VideoCapture, film: FilmFile, t_s: float) -> Frame | None:
    if t_s < 0:
        return None
    capture.set(cv2.CAP_PROP_POS_MSEC, 1000 * t_s)
    done, image = capture.read()
    if not done or image is None:
        return None
    return Frame(capture.get(cv2.CAP_PROP_POS_MSEC) / 1000, shrunk(image, film))


def shrunk(image: NDArray[Any], film: FilmFile) -> NDArray[np.uint8]:
    """A frame as it is looked at."""
    if film.smaller == 1:
        return np.asarray(image, np.uint8)
    width, height = film.frame_px
    cut = image[: height * film.smaller, : width * film.smaller]
    return np.asarray(cv2.resize(cut, (width, height), interpolation=cv2.INTER_AREA), np.uint8)
