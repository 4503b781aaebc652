"""A clip of a measured film, made shorter, with the curve of what is left running beside the picture."""

from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from ..film.frames import sampled_frames
from ..film.records import MeasuredFilm
from ..report.palette import OKABE_ITO, Color
from ..report.rounding import percent_text
from ..run.sources import Progress
from .clip import encoded
from .frame import FIGURE, QUIET, REMARK, Box, Frame, Line, write_words

FRAME = Frame(960, 540)
RATE = Fraction(10)
#: Longest clip, s: a longer film is shown in fewer pictures.
_LONGEST_S = 30.0
_CURVE: Color = OKABE_ITO[1]


def film_clip(film: MeasuredFilm, out: Path, progress: Progress | None = None) -> bytes:
    """Make the clip; its content.

    Parameters
    ----------
    film : MeasuredFilm
        The film, whose file is read again.
    out : Path
        Where it will go; its ending says in what form.
    progress : callable, optional
        Told the share done, 0 to 1, and what is being done.

    Raises
    ------
    OutputError
        The ending is of no clip, or this OpenCV cannot write it.
    FilmFileError
        The film cannot be read any more.
    """
    return encoded(clip_frames(film, FRAME, progress), FRAME, RATE, out)


def clip_frames(film: MeasuredFilm, frame: Frame, progress: Progress | None = None) -> Iterator[NDArray[np.uint8]]:
    """The frames of the clip, shape (frame.height, frame.width, 3), sRGB, one by one."""
    picture, words = frame.parted()
    middle = words.top + round(0.35 * words.height)
    text, curve = replace(words, bottom=middle), replace(words, top=middle)
    step = max(film.read_s / (_LONGEST_S * float(RATE)), 1 / film.film.rate)
    for shot in sampled_frames(film.film, step):
        image = frame.empty()
        _place_picture(image, picture, shot.bgr)
        left = float(np.interp(shot.t_s, film.times_s, film.left["patch"].percent))
        lines = [
            Line(film.patch.title, REMARK, QUIET),
            Line(percent_text(left), FIGURE, bold=True),
            Line("of the debris left"),
            Line(f"{shot.t_s:.0f} s", REMARK, QUIET),
        ]
        write_words(image, text, lines, frame.unit)
        _draw_curve(image, curve, film, shot.t_s, frame.unit)
        if progress is not None:
            progress(min(1.0, shot.t_s / max(film.read_s, 1e-9)), "drawing the clip")
        yield image


def _place_picture(image: NDArray[np.uint8], box: Box, bgr: NDArray[np.uint8]) -> None:
    height, width = bgr.shape[:2]
    scale = min(box.width / width, box.height / height)
    size = max(1, round(width * scale)), max(1, round(height * scale))
    small = cv2.cvtColor(cv2.resize(bgr, size, interpolation=cv2.INTER_AREA), cv2.COLOR_BGR2RGB)
    top, left = box.top + (box.height - size[1]) // 2, box.left + (box.width - size[0]) // 2
    image[top : top + size[1], left : left + size[0]] = small


def _draw_curve(image: NDArray[np.uint8], box: Box, film: MeasuredFilm, t_s: float, unit: float) -> None:
    """Draw the curve as far as the film has come, with a line for all and one for nothing."""
    known = np.isfinite(film.left["patch"].percent)
    times, percent = film.times_s[known], film.left["patch"].percent[known]
    if not len(times):
        return
    thick = max(1, round(4 * unit))
    end = max(float(film.times_s[-1]), 1e-9)

    def px(t: NDArray[np.floating], value: NDArray[np.floating]) -> NDArray[np.int32]:
        x = box.left + t / end * (box.width - 1)
        y = box.bottom - 1 - np.clip(value, 0, 105) / 105 * (box.height - 1)
        return np.round(np.stack([x, y], axis=-1)).astype(np.int32)

    for level in (0.0, 100.0):
        ends = px(np.array([0.0, end]), np.array([level, level]))
        cv2.line(image, ends[0].tolist(), ends[1].tolist(), QUIET, max(1, thick // 3), cv2.LINE_AA)
    now = float(np.interp(t_s, times, percent))
    past = times < t_s
    line = px(np.append(times[past], t_s), np.append(percent[past], now))
    cv2.polylines(image, [line], False, _CURVE, thick, cv2.LINE_AA)
    cv2.circle(image, line[-1].tolist(), 2 * thick, _CURVE, cv2.FILLED, cv2.LINE_AA)
