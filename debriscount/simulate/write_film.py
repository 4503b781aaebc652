"""A film as files: the film itself, a still of the clean floor, what measuring needs beside them, and the truth."""

import json
import tempfile
from collections.abc import Callable
from functools import partial
from os import PathLike
from pathlib import Path
from typing import Any

import cv2

from ..errors import MissingLibraryError
from ..inputs.debris_write import debris_toml
from ..inputs.patch_write import patch_toml
from .develop import encode_jpeg
from .film import FilmTruth, bare_floor, film_frames
from .write import REMARK, debris_name, put_scene

FORMAT = "debriscount/film-truth/1"
#: MPEG-4 Part 2, which every build of OpenCV with FFmpeg writes, and quickly.
_CODE = "mp4v"


def write_film(
    truth: FilmTruth, folder: str | PathLike[str], progress: Callable[[float, str], None] | None = None
) -> list[Path]:
    """Write a film's files, all or none.

    Parameters
    ----------
    truth : FilmTruth
        As `draw_film` makes it.
    folder : path-like
        New or empty.
    progress : callable, optional
        Told the share done, 0 to 1, and what is being done.

    Returns
    -------
    list of Path
        film.mp4, blank.jpg, patch.toml, one debris file a kind and truth.json.

    Raises
    ------
    OutputError
        The folder holds something already, is a file, or cannot be written.
    MissingLibraryError
        This OpenCV cannot write films.
    """
    scene = truth.spec.scene
    contents: dict[str, Callable[[], bytes]] = {
        "film.mp4": lambda: encoded_film(truth, progress),
        "blank.jpg": lambda: encode_jpeg(bare_floor(truth), scene.imaging),
        "patch.toml": lambda: patch_toml(scene.patch).encode(),
    }
    for portion in scene.portions:
        contents[debris_name(portion, contents)] = partial(_text, debris_toml(portion.kind, REMARK))
    contents["truth.json"] = lambda: _text(json.dumps(film_truth_json(truth), indent=1, allow_nan=False) + "\n")
    return put_scene(contents, Path(folder))


def _text(text: str) -> bytes:
    return text.encode("utf-8", "replace")


def encoded_film(truth: FilmTruth, progress: Callable[[float, str], None] | None = None) -> bytes:
    """Encode the frames as MPEG-4; the content of the file."""
    with tempfile.TemporaryDirectory() as scratch:
        made = Path(scratch) / "film.mp4"
        code = cv2.VideoWriter.fourcc(*_CODE)
        writer = cv2.VideoWriter(str(made), cv2.CAP_FFMPEG, code, truth.spec.rate, truth.spec.size_px)
        if not writer.isOpened():
            raise MissingLibraryError(
                "this build of OpenCV cannot write films. Install the package opencv-python from PyPI."
            )
        try:
            for number, image in enumerate(film_frames(truth), start=1):
                writer.write(cv2.cvtColor(image, cv2.COLOR_RGB2BGR))
                if progress is not None:
                    progress(number / len(truth.times_s), "drawing")
        finally:
            writer.release()
        return made.read_bytes()


def _by_kind(truth: FilmTruth, t_s: float) -> dict[str, Any]:
    """What is left of each kind, if there are several."""
    names = [portion.kind.name for portion in truth.spec.scene.portions]
    left = {name: round(truth.left_percent(t_s, kind), 4) for kind, name in enumerate(names)}
    return {"left_percent_by_kind": left} if len(left) > 1 else {}


def film_truth_json(truth: FilmTruth) -> dict[str, Any]:
    """Return the truth of a film as truth.json holds it: debris left and the machine's place, frame by frame.

    Of several kinds what is left of each is told too. Percent of the debris that was strewn, mm on the patch, and
    degrees from x towards y, 0 to 360.
    """
    spec, times = truth.spec, truth.times_s
    places = truth.way.place_mm(times)
    headings = truth.way.heading_deg(times) % 360
    machine = spec.machine
    return {
        "format": FORMAT,
        "seed": spec.scene.seed,
        "machine": {
            "diameter_mm": machine.diameter_mm,
            "height_mm": machine.height_mm,
            "mouth_mm": machine.mouth_mm,
            "pitch_mm": machine.pitch_mm,
        },
        "passes": spec.passes,
        "knock_s": spec.knock_s,
        "hand_s": None if spec.hand_s is None else list(spec.hand_s),
        "frames": [
            {
                "t_s": round(float(t), 4),
                "left_percent": round(truth.left_percent(float(t)), 4),
                **_by_kind(truth, float(t)),
                "x_mm": round(float(x), 2),
                "y_mm": round(float(y), 2),
                "heading_deg": round(float(heading), 2),
            }
            for t, (x, y), heading in zip(times, places, headings, strict=True)
        ],
    }
