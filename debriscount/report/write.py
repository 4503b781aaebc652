"""Writes a measurement's files, all of them or none."""

import re
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from functools import partial
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from ..columns import header_mark
from ..inputs.patch_file import read_patch
from ..run.records import MeasuredShot, Measurement
from .folder import RECORD_MARK, ResultFiles, floor_bytes, map_bytes, picture_bytes, record_bytes, write_files
from .left_picture import draw_leftovers
from .lookup import has_pass_curve, why_of
from .pictures import draw_overlay
from .reach_picture import draw_reach
from .record import measurement_json
from .tables import GRAINS_HEADER, ZONES_HEADER, grains_csv, zones_csv

MARKS = {
    "measurement.json": RECORD_MARK,
    "zones.csv": header_mark(ZONES_HEADER),
    "grains.csv": header_mark(GRAINS_HEADER),
}
_PICTURE = re.compile(
    r"(overlay|leftovers|reach|walls|floor)-(blank|before|after\d*)\.jpg|passes\.jpg|found-(before|after\d*)\.png"
)
_FLOOR_VIEW = re.compile("overlay|leftovers|reach|floor|found")


def write_measurement(measurement: Measurement, out_dir: str | Path, *, overwrite: bool = False) -> list[Path]:
    """Write record, tables and pictures into a folder.

    Parameters
    ----------
    measurement : Measurement
        The run.
    out_dir : str or Path
        The folder; made, with those above it, if it is not there. An earlier measurement in it is
        replaced; all other files stay.
    overwrite : bool
        Whether a measurement of other photos may be replaced too.

    Returns
    -------
    list of Path
        measurement.json, zones.csv, grains.csv and one picture a shot, of the blank only if debris was found on it;
        where it was found why debris stayed, for each pass one of the leftovers, one of the reach if that was told and
        one of the walls if there are any; one of the passes if there are two or more; and, of each shot but the blank,
        the bare floor view and a map of what was found in it.

    Raises
    ------
    OutputError
        The folder cannot be made or written, holds a count, a measurement of other photos, or a file of the
        same name that is no result of debriscount. Nothing has changed then.
    """
    files = measurement_files(measurement)
    # Floor views are drawn by one thread while the files before them are made and reach the disk; plots are not, for
    # matplotlib's style is the whole process's.
    with ThreadPoolExecutor(1) as pool:
        contents = {
            name: pool.submit(make).result if _FLOOR_VIEW.match(name) else make for name, make in files.contents.items()
        }
        try:
            return write_files(replace(files, contents=contents), out_dir, overwrite=overwrite)
        finally:
            pool.shutdown(wait=False, cancel_futures=True)


def measurement_files(measurement: Measurement) -> ResultFiles:
    """Return the files that `write_measurement` writes, the record first."""
    contents: dict[str, Callable[[], bytes]] = {
        "measurement.json": lambda: record_bytes(measurement_json(measurement)),
        "zones.csv": lambda: zones_csv(measurement).encode("utf-8", "replace"),
        "grains.csv": lambda: grains_csv(measurement).encode("utf-8", "replace"),
    }
    pictures: dict[str, Callable[[], NDArray[np.uint8]]] = {}
    for shot in measurement.shots:
        if shot.name == "blank" and not len(shot.grains):
            continue  # a picture of bare floor says nothing
        # Not the shot's name alone: the folder may hold the photos themselves.
        pictures[f"overlay-{shot.name}.jpg"] = partial(draw_overlay, shot, measurement)
    for shot in measurement.shots:
        pictures |= _why_pictures(shot, measurement)
    if has_pass_curve(measurement):
        pictures["passes.jpg"] = partial(_passes, measurement)
    contents |= {name: partial(_bytes, draw) for name, draw in pictures.items()}
    for shot in measurement.shots:
        if shot.name != "blank":
            seen = shot.floor_view if shot.photo_view is None else shot.photo_view
            contents[f"floor-{shot.name}.jpg"] = partial(floor_bytes, seen)
            contents[f"found-{shot.name}.png"] = partial(map_bytes, shot.kind_map)
    sums = [shot.sha256 for shot in measurement.shots]
    sums += [part.sha256 for shot in measurement.shots if shot.joined is not None for part in shot.joined.parts]
    photos = frozenset(filter(None, sums))
    return ResultFiles(contents, MARKS, _PICTURE, photos)


def load_plots(patch: str | Path, passes: int) -> None:
    """Load what plots are drawn with, which takes a second, if a run on that patch will have any."""
    if passes > 1 or read_patch(patch).walls:
        from . import plots, walls_plot  # noqa: F401


def _why_pictures(shot: MeasuredShot, measurement: Measurement) -> dict[str, Callable[[], NDArray[np.uint8]]]:
    """Pictures of why debris stayed in the pass before a shot, by name."""
    why = why_of(shot, measurement)
    if why is None:
        return {}
    pictures: dict[str, Callable[[], NDArray[np.uint8]]] = {
        f"leftovers-{shot.name}.jpg": partial(draw_leftovers, shot, measurement)
    }
    if why.reach is not None:
        pictures[f"reach-{shot.name}.jpg"] = partial(draw_reach, shot, measurement)
    if why.walls.pickup:
        pictures[f"walls-{shot.name}.jpg"] = partial(_walls, shot, measurement)
    return pictures


def _walls(shot: MeasuredShot, measurement: Measurement) -> NDArray[np.uint8]:
    from .walls_plot import draw_walls

    return draw_walls(shot, measurement)


def _passes(measurement: Measurement) -> NDArray[np.uint8]:
    from .plots import draw_passes

    return draw_passes(measurement)


def _bytes(draw: Callable[[], NDArray[np.uint8]]) -> bytes:
    return picture_bytes(draw())
