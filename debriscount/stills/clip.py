"""A clip that wipes from before to after while what is left is counted."""

import tempfile
from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from ..arrays import Floats
from ..errors import OutputError
from ..report.palette import LIGHT
from ..report.rounding import percent_text
from ..run.sources import Progress
from .frame import FIGURE, QUIET, REMARK, TITLE, Frame, Line
from .pictures import composed, pickup_lines, picture_box, run_title
from .views import RunViews, fitted

#: Seconds that before stands, that the wipe takes, and that after stands with its figure.
BEFORE_S, WIPE_S, AFTER_S = 1.0, 4.0, 3.0
#: VP9, which browsers play and which OpenCV's own FFmpeg writes without further libraries.
_CODES = {".mp4": "vp09", ".webm": "VP90"}


def clip_length(rate: Fraction) -> int:
    """Number of frames of a clip."""
    return sum(round(seconds * rate) for seconds in (BEFORE_S, WIPE_S, AFTER_S))


def clip_frames(views: RunViews, frame: Frame, rate: Fraction) -> Iterator[NDArray[np.uint8]]:
    """The frames of a wipe from before to the last after, shape (frame.height, frame.width, 3), sRGB, one by one.

    Parameters
    ----------
    views : RunViews
        The run.
    frame : Frame
        Size, width and height even.
    rate : Fraction
        Frames a second.

    Notes
    -----
    While the edge moves from left to right, what is counted as left is the debris of *before* to its right and of
    *after* to its left, as a share of the area before. It ends at what the record says.
    """
    last = views.run.figures.passes[-1]
    shot = "after" if last.number == 1 else f"after{last.number}"
    box = picture_box(frame, True)
    canvases = [fitted(views.floor(name), views, box) for name in ("before", shot)]
    (before, (left, top)), (after, _) = canvases
    width = before.image.shape[1]
    whole = last.zones["patch"]
    ends_at = 100 - whole.pickup_percent if whole.pickup_percent is not None else None
    edges, shares = _left_by_column(views, shot, before.grid.x_mm(), ends_at)
    title = [Line(run_title(views), REMARK, QUIET)]

    def words(percent: float | None) -> list[Line]:
        known = [] if percent is None else [Line(percent_text(percent), FIGURE, bold=True), Line("of the debris left")]
        return [*title, Line("Before and after", TITLE, bold=True), *known]

    first = composed(frame, before, (left, top), words(100.0), True)
    for _ in range(round(BEFORE_S * rate)):
        yield first
    steps = round(WIPE_S * rate)
    for step in range(1, steps + 1):
        column = round(width * step / (steps + 1))
        image = before.image.copy()
        image[:, :column] = after.image[:, :column]
        half = max(1, round(2 * frame.unit))
        image[:, max(0, column - half) : column + half] = LIGHT
        percent = None if ends_at is None else float(np.interp(column, edges, shares))
        yield composed(frame, replace(before, image=image), (left, top), words(percent), True)
    done = [*title, Line("After", TITLE, bold=True), *pickup_lines(whole)]
    final = composed(frame, after, (left, top), done, True)
    for _ in range(round(AFTER_S * rate)):
        yield final


def _left_by_column(views: RunViews, shot: str, x_mm: Floats, ends_at: float | None) -> tuple[Floats, Floats]:
    """Percent of the debris left once the edge has come to a column, for each column edge of the picture."""
    edges = np.arange(len(x_mm) + 1, dtype=float)
    if ends_at is None:
        return edges, np.zeros_like(edges)
    places = np.concatenate([x_mm, [np.inf]])

    def areas(name: str) -> Floats:
        rows = [row for row in views.rows(name) if row["zone"] != "margin"]
        x, area = (np.array([float(row[key]) for row in rows]) for key in ("x_mm", "area_mm2"))
        order = np.argsort(x)
        return np.concatenate([[0.0], np.cumsum(area[order])])[np.searchsorted(x[order], places)]

    before, after = areas("before"), areas(shot)
    total = max(before[-1], 1e-9)
    gone, stayed = 100 * before / total, 100 * after / total
    off = ends_at - stayed[-1]  # what the record takes off bare floor's share and adds for the margin's gain
    return edges, 100 - gone + stayed + off * gone / 100


def check_ending(out: Path) -> None:
    """Raise OutputError where a file's name does not end as a clip's does."""
    if out.suffix.lower() not in _CODES:
        raise OutputError(f"{out}: ends in none of {', '.join(sorted(_CODES))}. Call the clip NAME.mp4.")


def encoded(
    frames: Iterator[NDArray[np.uint8]], frame: Frame, rate: Fraction, out: Path, progress: Progress | None = None
) -> bytes:
    """Encode frames as a clip of constant frame rate; its content.

    Parameters
    ----------
    frames : iterator of ndarray of uint8, shape (H, W, 3)
        sRGB.
    frame : Frame
        Their size.
    rate : Fraction
        Frames a second.
    out : Path
        Where it will go; its ending says in what form.
    progress : callable, optional
        Told the share done, 0 to 1, and what is being done.

    Raises
    ------
    OutputError
        The ending is of no clip, or this OpenCV cannot write it.
    """
    check_ending(out)
    code = _CODES[out.suffix.lower()]
    with tempfile.TemporaryDirectory() as scratch:
        made = Path(scratch) / f"clip{out.suffix.lower()}"
        writer = cv2.VideoWriter(
            str(made), cv2.CAP_FFMPEG, cv2.VideoWriter.fourcc(*code), float(rate), (frame.width, frame.height)
        )
        if not writer.isOpened():
            raise OutputError(
                f"{out}: this build of OpenCV cannot write clips. Install the package opencv-python from PyPI."
            )
        try:
            for number, image in enumerate(frames, start=1):
                writer.write(cv2.cvtColor(image, cv2.COLOR_RGB2BGR))
                if progress is not None:
                    progress(number / clip_length(rate), "drawing")
        finally:
            writer.release()
        return made.read_bytes()
