"""Writes stills into a folder, all of them or none, each as large as asked for."""

import io
import re
from collections.abc import Sequence
from functools import partial
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image
from PIL.PngImagePlugin import PngInfo

from ..errors import InputFileError
from ..page.sources import PageRun, picture
from ..report.folder import MARK, ResultFiles, write_files
from ..run.sources import Progress
from .beside import MOST, draw_beside
from .compared import compared_stills
from .frame import Frame
from .pictures import Still, run_stills
from .views import views_of

#: Sides of a frame, px: from what a thumbnail has to the largest that films are made in.
LEAST_SIDE, MOST_SIDE = 240, 7680
_SIZE = re.compile(r"(\d{1,5})[xX](\d{1,5})")
_OWN = re.compile(r"([a-z0-9-]+-)?(before|(leftovers-|marks-|zones-|strips-|bars-)?after\d*|beside|compared-.+)\.png")


def frame_of(text: str) -> Frame:
    """The frame that "1920x1080" means.

    Raises
    ------
    InputFileError
        It means none, or one that is too small or too large.
    """
    found = _SIZE.fullmatch(text.strip())
    if found is None:
        raise InputFileError(f"--size {text[:40]!r}: is no size. Give width and height in pixels, such as 1920x1080.")
    width, height = int(found[1]), int(found[2])
    if not (min(width, height) >= LEAST_SIDE and max(width, height) <= MOST_SIDE):
        raise InputFileError(
            f"--size {text}: sides must have from {LEAST_SIDE} to {MOST_SIDE} px. Give a size such as 1920x1080."
        )
    return Frame(width, height)


def write_stills(
    runs: Sequence[PageRun],
    out_dir: Path,
    frame: Frame,
    *,
    text: bool = True,
    overwrite: bool = False,
    progress: Progress | None = None,
) -> list[Path]:
    """Write the stills of runs as PNG files.

    Parameters
    ----------
    runs : sequence of PageRun
        One or more; of several, stills of bars that compare machines and settings are written too, and one of what the
        first six left beside each other.
    out_dir : Path
        The folder; earlier stills in it are replaced, other files stay.
    frame : Frame
        Size of every still.
    text : bool
        Whether words stand on them.
    overwrite : bool
        Whether stills of other runs may be replaced.
    progress : callable, optional
        Told the share done, 0 to 1, and what is being done.

    Returns
    -------
    list of Path

    Raises
    ------
    InputFileError
        A run has no pictures, and there are no others to compare it with.
    OutputError
        The folder cannot be written.
    """
    compared = compared_stills(runs, frame) if text else {}
    # Of several, those without pictures are in the bars alone.
    shown = [views_of(run) for run in runs if not compared or picture(run.folder, "floor-before.jpg") is not None]
    pictures: dict[str, Still] = {f"{name}.png": draw for name, draw in compared.items()}
    for views in shown:
        prefix = "" if len(runs) == 1 else f"{plain_name(views.run.name)}-"
        pictures |= {f"{prefix}{name}.png": draw for name, draw in run_stills(views, frame, text=text).items()}
    if len(shown) > 1:
        pictures["beside.png"] = partial(draw_beside, frame, shown[:MOST], text=text)
    count = len(pictures)

    def content(number: int, draw: Still) -> bytes:
        made = png_bytes(draw())
        if progress is not None:
            progress((number + 1) / count, "drawing")
        return made

    contents = {name: partial(content, k, draw) for k, (name, draw) in enumerate(pictures.items())}
    return write_files(ResultFiles(contents, {}, _OWN), out_dir, overwrite=overwrite)


def plain_name(name: str) -> str:
    """A run's name as part of a file name: small letters, digits and hyphens."""
    return re.sub(r"[^a-z0-9]+", "-", name.lower()).strip("-")[:60] or "run"


def png_bytes(image: NDArray[np.uint8]) -> bytes:
    """A still as the content of its file, with nothing in it of where it was made."""
    about = PngInfo()
    about.add_text("Comment", MARK.decode())
    content = io.BytesIO()
    Image.fromarray(image).save(content, "png", pnginfo=about, compress_level=3)  # a third of the time of the usual 6
    return content.getvalue()
