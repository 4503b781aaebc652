"""Writes a measurement's files, all of them or none."""

import json
import re
import secrets
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from ..errors import OutputError
from ..figures.records import MeasuredShot, Measurement
from .pictures import draw_overlay, encode_jpeg
from .record import measurement_json
from .tables import GRAINS_HEADER, ZONES_HEADER, grains_csv, zones_csv

#: A comment in every picture, by which a later run knows that it may replace it.
MARK = b"debriscount overlay"

_PICTURE = re.compile(r"overlay-(blank|before|after\d*)\.jpg")
_RECORD, _ZONES, _GRAINS = "measurement.json", "zones.csv", "grains.csv"
_OLD = "old"


def write_measurement(measurement: Measurement, out_dir: str | Path) -> list[Path]:
    """Write record, tables and pictures into a folder.

    Parameters
    ----------
    measurement : Measurement
        The run.
    out_dir : str or Path
        The folder; made, with those above it, if it is not there. An earlier result in it is
        replaced; all other files stay.

    Returns
    -------
    list of Path
        measurement.json, zones.csv, grains.csv and one picture a shot.

    Raises
    ------
    OutputError
        The folder cannot be made or written, or holds a file of the same name that is no result
        of debriscount. Nothing has changed then.
    """
    out = Path(out_dir)
    names = [_RECORD, _ZONES, _GRAINS, *(_picture_name(shot) for shot in measurement.shots)]
    try:
        old = _earlier_result(out, names)
        with _work_folder(out) as work:
            _write_files(measurement, work)
            if out.is_dir():
                _replace(out, work, names, old)
            else:
                work.rename(out)
    except OutputError:
        raise
    except OSError as error:
        raise OutputError(
            f"{out}: the results cannot be written ({error.strerror or error}). "
            "Choose a folder that can be written, on a disk with room."
        ) from error
    return [out / name for name in names]


def _earlier_result(out: Path, names: list[str]) -> list[str]:
    """Names of the files in ``out`` that debriscount wrote; all that is about to be replaced must be."""
    if not out.exists():
        return []
    if not out.is_dir():
        raise OutputError(f"{out}: is a file, not a folder. Choose another folder for the results.")
    for name in names:
        if (out / name).exists() and not _is_ours(out / name):
            raise OutputError(
                f"{out / name}: is no result of debriscount and would be overwritten. "
                "Choose another folder for the results, or move the file."
            )
    tables = {_RECORD, _ZONES, _GRAINS}
    return sorted(
        path.name for path in out.iterdir() if (path.name in tables or _PICTURE.fullmatch(path.name)) and _is_ours(path)
    )


def _is_ours(path: Path) -> bool:
    if not path.is_file():
        return False
    with path.open("rb") as file:
        head = file.read(256)
    if path.name == _RECORD:
        return b'"debriscount/' in head
    if path.name in (_ZONES, _GRAINS):
        return head.startswith(",".join(ZONES_HEADER if path.name == _ZONES else GRAINS_HEADER).encode())
    return MARK in head


def _write_files(measurement: Measurement, folder: Path) -> None:
    for shot in measurement.shots:
        (folder / _picture_name(shot)).write_bytes(_marked(encode_jpeg(draw_overlay(shot, measurement))))
    _write_text(folder / _ZONES, zones_csv(measurement))
    _write_text(folder / _GRAINS, grains_csv(measurement))
    record = json.dumps(measurement_json(measurement), indent=2, ensure_ascii=False, allow_nan=False)
    _write_text(folder / _RECORD, record + "\n")


def _picture_name(shot: MeasuredShot) -> str:
    # Not the shot's name alone: the folder may hold the photos themselves.
    return f"overlay-{shot.name}.jpg"


def _write_text(path: Path, text: str) -> None:
    path.write_text(text, encoding="utf-8", newline="")


def _marked(jpeg: bytes) -> bytes:
    """Put ``MARK`` as a comment segment behind the JPEG's first marker."""
    length = (len(MARK) + 2).to_bytes(2, "big")
    return jpeg[:2] + b"\xff\xfe" + length + MARK + jpeg[2:]


@contextmanager
def _work_folder(out: Path) -> Iterator[Path]:
    """Make a folder on the same disk as ``out``; it, and folders made above it, vanish after a failure.

    It lies inside ``out`` where that exists, because the folder above may be on another disk or
    not writable, otherwise beside it.
    """
    above = out if out.is_dir() else out.parent
    made = [folder for folder in (above, *above.parents) if not folder.exists()]
    work = above / f".{out.name}-{secrets.token_hex(4)}.part"
    try:
        above.mkdir(parents=True, exist_ok=True)
        work.mkdir()
        yield work
    except BaseException:
        if not any((work / _OLD).glob("*")):  # else they could not be put back, and lie here alone
            shutil.rmtree(work, ignore_errors=True)
        for folder in made:
            if folder.is_dir() and not any(folder.iterdir()):
                folder.rmdir()
        raise
    shutil.rmtree(work, ignore_errors=True)


def _replace(out: Path, work: Path, names: list[str], old: list[str]) -> None:
    """Exchange the old files for the new ones; a failure on the way puts the old ones back."""
    kept = work / _OLD
    kept.mkdir()
    moved: list[tuple[Path, Path]] = []
    try:
        for source, target in (
            *((out / name, kept / name) for name in old),
            *((work / name, out / name) for name in names),
        ):
            source.rename(target)
            moved.append((source, target))
    except BaseException:
        for source, target in reversed(moved):
            target.rename(source)
        raise
