"""Writes the files of a result into a folder, all of them or none."""

import hashlib
import io
import json
import re
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image
from PIL.PngImagePlugin import PngInfo

from ..errors import OutputError
from ..inputs.exchange import put_files, settle, try_folder
from .pictures import encode_jpeg

#: A comment in every picture, by which a later run knows that it may replace it.
MARK = b"debriscount overlay"
#: Names of the records, one for each kind of result.
RECORDS = ("measurement.json", "count.json", "film.json")
#: How a record begins to say what it is.
RECORD_MARK = b'"debriscount/'

#: Far more than a record takes; what is larger is none.
_MOST_RECORD_BYTES = 256_000_000
_NUMBERS = re.compile(r"\[\n([^\"\[\]{}]*)\n *\]")


@dataclass(frozen=True, slots=True)
class ResultFiles:
    """The files of one result.

    ``contents`` makes the content of each file, by name, when it is that file's turn. ``marks`` holds, for each table
    and record, bytes that an earlier one has near its start, so that a later result may replace it; ``pictures`` fits
    the names of an earlier result's pictures. The record comes first among ``contents``. ``photos`` are the SHA-256 of
    the photos that the result was made of; none where it was not made of photo files.
    """

    contents: Mapping[str, Callable[[], bytes]]
    marks: Mapping[str, bytes]
    pictures: re.Pattern[str]
    photos: frozenset[str] = frozenset()

    def wrote(self, path: Path) -> bool:
        """Whether a file is of an earlier result of the same kind."""
        return _begins_with(path, self.marks.get(path.name, MARK))


def write_files(files: ResultFiles, out_dir: str | Path, *, overwrite: bool = False) -> list[Path]:
    """Write the files of a result into a folder.

    Parameters
    ----------
    files : ResultFiles
        What to write.
    out_dir : str or Path
        The folder; made, with those above it, if it is not there. An earlier result of the same kind in it is
        replaced; all other files stay.
    overwrite : bool
        Whether an earlier result that was made of other photos may be replaced too.

    Returns
    -------
    list of Path
        The files, in the order of ``files.contents``.

    Raises
    ------
    OutputError
        The folder cannot be made or written, holds a result of another kind or of other photos, or a file of the same
        name that is no result of debriscount. Nothing has changed then.
    """
    out = Path(out_dir)
    place = _resolved(out)
    try:
        put_files(place, files.contents, partial(_earlier_result, out, files, overwrite), place.name)
    except OutputError:
        raise
    except OSError as error:
        raise _not_written(out, error) from error
    return [out / name for name in files.contents]


def prepare_folder(
    out_dir: str | Path, marks: Mapping[str, bytes], photos: Iterable[str | Path], *, overwrite: bool = False
) -> None:
    """Refuse, before any photo is read, a folder that a result cannot be written into.

    An earlier result is put back in its place where the run that was to replace it was killed on the way.

    Parameters
    ----------
    out_dir : str or Path
        The folder; it need not be there.
    marks : mapping of str to bytes
        As `ResultFiles` holds them, the record first.
    photos : iterable of str or Path
        The photos that will be read.
    overwrite : bool
        As `write_files` takes it.

    Raises
    ------
    OutputError
        As `write_files`, but for what only the result tells.
    """
    out = Path(out_dir)
    place = _resolved(out)
    try:
        settle(place, place.name)
        _refuse_what_is_there(out, marks)
        try_folder(place, place.name)
    except OutputError:
        raise
    except OSError as error:
        raise _not_written(out, error) from error
    if not overwrite:
        refuse_other_photos(out, photos)


def refuse_other_photos(out_dir: str | Path, photos: Iterable[str | Path]) -> None:
    """Refuse a folder with the result of other photos, before they are measured.

    Parameters
    ----------
    out_dir : str or Path
        The folder, settled; it need not be there.
    photos : iterable of str or Path
        Photo files; those that cannot be read are left for their reader to tell of.

    Raises
    ------
    OutputError
        An earlier result there was made of other photos.
    """
    out = Path(out_dir)
    for record in RECORDS:
        if _begins_with(out / record, RECORD_MARK):
            sums = frozenset(sum_ for photo in photos if (sum_ := _sha256(Path(photo))))
            _refuse_others(out, record, sums)


def _sha256(photo: Path) -> str:
    with suppress(OSError, ValueError):
        if photo.is_file():
            with photo.open("rb") as file:
                return hashlib.file_digest(file, "sha256").hexdigest()
    return ""


def _resolved(out: Path) -> Path:
    """The folder by one name, whatever way leads to it: a link stays a link."""
    try:
        return out.resolve()
    except (OSError, ValueError, RuntimeError) as error:  # a null character in the name, a loop of links
        raise _not_written(out, error) from None


def _not_written(out: Path, error: Exception) -> OutputError:
    return OutputError(
        f"{out}: the results cannot be written ({getattr(error, 'strerror', None) or error}). "
        "Choose a folder that can be written, on a disk with room."
    )


def record_bytes(record: Mapping[str, object]) -> bytes:
    """Return a record as the content of its file; a list of numbers stands on one line."""
    text = json.dumps(record, indent=2, ensure_ascii=False, allow_nan=False)
    # A line break stands between values alone: within a string it is written as an escape.
    return (_NUMBERS.sub(lambda found: "[" + " ".join(found[1].split()) + "]", text) + "\n").encode(
        "utf-8",
        "replace",  # a name of bytes that are no text must not cost a measurement
    )


def picture_bytes(image: NDArray[np.uint8]) -> bytes:
    """Return a picture as the content of its file, with ``MARK`` as a comment behind the JPEG's first marker."""
    return _marked(encode_jpeg(image))


def floor_bytes(image: NDArray[np.uint8]) -> bytes:
    """Return a bare floor view as the content of its file: finer than the eye sees, and without anything drawn."""
    return _marked(encode_jpeg(image, fine_colour=False))


def map_bytes(kind_map: NDArray[np.uint8]) -> bytes:
    """Return a map of what was found, 0 on floor and 1 + kind index on debris, as a PNG with ``MARK`` at its start."""
    about = PngInfo()
    about.add_text("Comment", MARK.decode())
    content = io.BytesIO()
    Image.fromarray(kind_map).save(content, "png", pnginfo=about, compress_level=3)  # half the time of the usual 6
    return content.getvalue()


def _marked(jpeg: bytes) -> bytes:
    length = (len(MARK) + 2).to_bytes(2, "big")
    return jpeg[:2] + b"\xff\xfe" + length + MARK + jpeg[2:]


def _earlier_result(out: Path, files: ResultFiles, overwrite: bool) -> list[str]:
    """Names of the files in ``out`` that debriscount wrote; all that is about to be replaced must be."""
    if not out.exists():
        return []
    _refuse_what_is_there(out, {name: files.marks.get(name, MARK) for name in files.contents})
    if not overwrite:
        _refuse_others(out, next(iter(files.contents)), files.photos)
    return sorted(
        path.name
        for path in out.iterdir()
        if (path.name in files.marks or files.pictures.fullmatch(path.name)) and files.wrote(path)
    )


def _refuse_what_is_there(out: Path, marks: Mapping[str, bytes]) -> None:
    """Refuse a file in the folder's place, and one in it that is about to be replaced and lacks its mark."""
    if not out.exists():
        return
    if not out.is_dir():
        raise OutputError(f"{out}: is a file, not a folder. Choose another folder for the results.")
    for record in RECORDS:
        # Tables and pictures of the two have the same names, and would be mixed.
        if record not in marks and _begins_with(out / record, RECORD_MARK):
            raise OutputError(f"{out}: holds {record}, another kind of result. Choose another folder for the results.")
    for name, mark in marks.items():
        if (out / name).exists() and not _begins_with(out / name, mark):
            raise OutputError(
                f"{out / name}: is no result of debriscount and would be overwritten. "
                "Choose another folder for the results, or move the file."
            )


def _refuse_others(out: Path, record: str, photos: frozenset[str]) -> None:
    if not photos or not _begins_with(out / record, RECORD_MARK):
        return
    earlier = _photos_of(out / record)
    # A run measured anew after a further pass, or with a blank, is the same run.
    if not (earlier and (earlier <= photos or earlier >= photos)):
        raise OutputError(
            f"{out}: holds a result of other photos. Choose another folder, or add --overwrite to replace that result."
        )


def _photos_of(record: Path) -> frozenset[str]:
    """SHA-256 of the photos that an earlier result was made of; none of a record that cannot be read."""
    try:
        if record.stat().st_size > _MOST_RECORD_BYTES:
            return frozenset()
        photos = json.loads(record.read_bytes())["photos"]
        return frozenset(_sums(photos.values() if isinstance(photos, dict) else photos))
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError):
        return frozenset()


def _sums(photos: Any) -> Iterator[str]:
    for photo in photos:
        for part in (photo, photo.get("blank") or {}, *(photo.get("joined") or {}).get("photos", ())):
            if part.get("sha256"):
                yield str(part["sha256"])


def _begins_with(path: Path, mark: bytes) -> bool:
    """Whether the file is there and has ``mark`` near its start."""
    if not path.is_file():
        return False
    with path.open("rb") as file:
        return mark in file.read(256)
