"""Writes the files of a result into a folder, all of them or none."""

import json
import re
import secrets
import shutil
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from ..errors import OutputError
from .pictures import encode_jpeg

#: A comment in every picture, by which a later run knows that it may replace it.
MARK = b"debriscount overlay"
#: Names of the records, one for each kind of result.
RECORDS = ("measurement.json", "count.json")
#: How a record begins to say what it is.
RECORD_MARK = b'"debriscount/'

_OLD = "old"
_NUMBERS = re.compile(r"\[\n([^\"\[\]{}]*)\n *\]")


@dataclass(frozen=True, slots=True)
class ResultFiles:
    """The files of one result.

    ``contents`` makes the content of each file, by name, when it is that file's turn. ``marks`` holds, for each table
    and record, bytes that an earlier one has near its start, so that a later result may replace it; ``pictures`` fits
    the names of an earlier result's pictures.
    """

    contents: Mapping[str, Callable[[], bytes]]
    marks: Mapping[str, bytes]
    pictures: re.Pattern[str]

    def wrote(self, path: Path) -> bool:
        """Whether a file is of an earlier result of the same kind."""
        return _begins_with(path, self.marks.get(path.name, MARK))


def write_files(files: ResultFiles, out_dir: str | Path) -> list[Path]:
    """Write the files of a result into a folder.

    Parameters
    ----------
    files : ResultFiles
        What to write.
    out_dir : str or Path
        The folder; made, with those above it, if it is not there. An earlier result of the same kind in it is
        replaced; all other files stay.

    Returns
    -------
    list of Path
        The files, in the order of ``files.contents``.

    Raises
    ------
    OutputError
        The folder cannot be made or written, holds a result of another kind, or a file of the same name that is no
        result of debriscount. Nothing has changed then.
    """
    out, names = Path(out_dir), list(files.contents)
    try:
        old = _earlier_result(out, files)
        with _work_folder(out) as work:
            for name, content in files.contents.items():
                (work / name).write_bytes(content())
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


def record_bytes(record: Mapping[str, object]) -> bytes:
    """Return a record as the content of its file; a list of numbers stands on one line."""
    text = json.dumps(record, indent=2, ensure_ascii=False, allow_nan=False)
    # A line break stands between values alone: within a string it is written as an escape.
    return (_NUMBERS.sub(lambda found: "[" + " ".join(found[1].split()) + "]", text) + "\n").encode()


def picture_bytes(image: NDArray[np.uint8]) -> bytes:
    """Return a picture as the content of its file, with ``MARK`` as a comment behind the JPEG's first marker."""
    jpeg = encode_jpeg(image)
    length = (len(MARK) + 2).to_bytes(2, "big")
    return jpeg[:2] + b"\xff\xfe" + length + MARK + jpeg[2:]


def _earlier_result(out: Path, files: ResultFiles) -> list[str]:
    """Names of the files in ``out`` that debriscount wrote; all that is about to be replaced must be."""
    if not out.exists():
        return []
    if not out.is_dir():
        raise OutputError(f"{out}: is a file, not a folder. Choose another folder for the results.")
    for record in RECORDS:
        # Tables and pictures of the two have the same names, and would be mixed.
        if record not in files.contents and _begins_with(out / record, RECORD_MARK):
            raise OutputError(f"{out}: holds {record}, another kind of result. Choose another folder for the results.")
    for name in files.contents:
        if (out / name).exists() and not files.wrote(out / name):
            raise OutputError(
                f"{out / name}: is no result of debriscount and would be overwritten. "
                "Choose another folder for the results, or move the file."
            )
    return sorted(
        path.name
        for path in out.iterdir()
        if (path.name in files.marks or files.pictures.fullmatch(path.name)) and files.wrote(path)
    )


def _begins_with(path: Path, mark: bytes) -> bool:
    """Whether the file is there and has ``mark`` near its start."""
    if not path.is_file():
        return False
    with path.open("rb") as file:
        return mark in file.read(256)


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
