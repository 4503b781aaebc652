"""Writes a measurement's files, all of them or none."""

import re
from functools import partial
from pathlib import Path

from ..figures.records import MeasuredShot, Measurement
from .columns import header_mark
from .folder import RECORD_MARK, ResultFiles, picture_bytes, record_bytes, write_files
from .pictures import draw_overlay
from .record import measurement_json
from .tables import GRAINS_HEADER, ZONES_HEADER, grains_csv, zones_csv

_MARKS = {
    "measurement.json": RECORD_MARK,
    "zones.csv": header_mark(ZONES_HEADER),
    "grains.csv": header_mark(GRAINS_HEADER),
}
_PICTURE = re.compile(r"overlay-(blank|before|after\d*)\.jpg")


def write_measurement(measurement: Measurement, out_dir: str | Path) -> list[Path]:
    """Write record, tables and pictures into a folder.

    Parameters
    ----------
    measurement : Measurement
        The run.
    out_dir : str or Path
        The folder; made, with those above it, if it is not there. An earlier measurement in it is
        replaced; all other files stay.

    Returns
    -------
    list of Path
        measurement.json, zones.csv, grains.csv and one picture a shot.

    Raises
    ------
    OutputError
        The folder cannot be made or written, holds a count, or a file of the same name that is no result
        of debriscount. Nothing has changed then.
    """
    contents = {
        "measurement.json": lambda: record_bytes(measurement_json(measurement)),
        "zones.csv": lambda: zones_csv(measurement).encode(),
        "grains.csv": lambda: grains_csv(measurement).encode(),
    }
    for shot in measurement.shots:
        contents[_picture_name(shot)] = partial(_picture, shot, measurement)
    return write_files(ResultFiles(contents, _MARKS, _PICTURE), out_dir)


def _picture_name(shot: MeasuredShot) -> str:
    # Not the shot's name alone: the folder may hold the photos themselves.
    return f"overlay-{shot.name}.jpg"


def _picture(shot: MeasuredShot, measurement: Measurement) -> bytes:
    return picture_bytes(draw_overlay(shot, measurement))
