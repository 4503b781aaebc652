"""Checks a result: finds its photos by their hashes, measures them again, and compares the two records."""

import hashlib
import json
import math
import shutil
import tempfile
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

from . import __version__
from .errors import InputFileError
from .inputs.debris import DebrisKind
from .inputs.lens import CameraLens
from .inputs.record_file import MEASUREMENT, parsed
from .inputs.weighing import Weighing
from .made_with import made_with_text
from .page.data import read_page
from .page.private import Shown, cleaned, photo_names
from .report.folder import record_bytes
from .report.record import measurement_json, patch_of
from .serialize import JsonObject

#: What a comparison comes to.
Outcome = Literal["same", "same within rounding", "differs", "not checked"]
#: Figures are rounded to four decimals or fewer, areas to three (`serialize`): two that fall to either side of a half
#: differ by one unit of the last.
_ROUNDING = {"mm2": 1.5e-3}
_USUAL_ROUNDING = 1.5e-4
#: Keys of times; a later version may read them otherwise.
_TIMES = ("taken",)
_MOST_PHOTOS = 5_000
_MOST_SAID = 12
_RECORD = "measurement.json"
#: Key of what a record was made with, which explains differences and is none.
_MADE_WITH = "made_with"
#: Endings of photos that `measure` reads, without regard to case.
_PHOTOS = (".jpg", ".jpeg", ".png", ".tif", ".tiff", ".webp", ".heic", ".heif", ".avif", ".dng")


@dataclass(frozen=True, slots=True, kw_only=True)
class Checked:
    """What came of checking one run: the outcome, and sentences on what differs and why."""

    name: str
    outcome: Outcome
    reasons: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class _Claim:
    """A record that is to be checked: its bytes, and how it was made fit for other eyes, if it was."""

    name: str
    content: bytes
    shown: Shown | None


def verify(
    path: Path, photos: Sequence[Path] = (), *, progress: Callable[[float, str], None] | None = None
) -> list[Checked]:
    """Measure again what a result or a page says, and compare.

    Parameters
    ----------
    path : Path
        A folder that ``debriscount measure`` wrote, a run's of a campaign, or a page.
    photos : sequence of Path
        Folders in which to look for photos too; those beside a result are found anyway.
    progress : callable, optional
        Told the share done, 0 to 1, and what is being done.

    Returns
    -------
    list of Checked
        One a run.

    Raises
    ------
    InputFileError
        There is no result, or it is damaged.
    DebriscountError
        As measuring does.
    """
    claims, folders = _claims(path)
    known = _photos_by_sum([*photos, *folders])
    checked = []
    for number, claim in enumerate(claims):

        def tell(done: float, what: str, number: int = number) -> None:
            if progress is not None:
                progress((number + done) / len(claims), what)

        checked.append(_check(claim, known, path, tell))
    return checked


def _claims(path: Path) -> tuple[list[_Claim], list[Path]]:
    """Records to be checked, and where their photos may lie."""
    if path.is_dir():
        record = path / _RECORD
        if not record.is_file():
            raise InputFileError(
                f"{path}: holds no {_RECORD}. Give a folder that debriscount measure wrote, or a page."
            )
        from .inputs.text_file import file_content

        place = path.resolve()
        content = file_content(record, "record", 64_000_000)
        return [_Claim(place.name, content, None)], [place, place.parent, place.parent.parent / "blanks"]
    page = read_page(path)
    return [_Claim(name, content, page.shown) for name, content in page.records.items()], [path.resolve().parent]


def _photos_by_sum(folders: Iterable[Path]) -> dict[str, Path]:
    """Photos of folders, not of those in them, by the SHA-256 of their files."""
    found: dict[str, Path] = {}
    seen = 0
    for folder in dict.fromkeys(folder.resolve() for folder in folders):
        for file in sorted(folder.iterdir()) if folder.is_dir() else ():
            if file.suffix.lower() in _PHOTOS and file.is_file() and seen < _MOST_PHOTOS:
                seen += 1
                with file.open("rb") as stream:
                    found.setdefault(hashlib.file_digest(stream, "sha256").hexdigest(), file)
    return found


def _check(claim: _Claim, known: Mapping[str, Path], path: Path, progress: Callable[[float, str], None]) -> Checked:
    try:
        record = parsed(claim.content.decode("utf-8"), f"{path} {claim.name}", (MEASUREMENT,), "Measure again.")
        missing = [
            f"{shot} ({photo.get('file') or 'no file'}): no photo with SHA-256 {str(photo['sha256'])[:12]}… is there. "
            "It was changed, or lies elsewhere: name its folder with --photos."
            for shot, photos in record["photos"].items()
            for photo in _files_of(photos)
            if photo.get("sha256") not in known
        ]
        if "inputs" not in record:
            return Checked(name=claim.name, outcome="not checked", reasons=(_too_old(record),))
        if missing:
            return Checked(name=claim.name, outcome="not checked", reasons=tuple(missing))
        again = _measured_again(record, known, progress)
    except (KeyError, TypeError, ValueError, AttributeError) as error:
        if isinstance(error, InputFileError):
            raise
        raise InputFileError(f"{path}: the record of {claim.name} is not whole ({error}).") from None
    if claim.shown is not None:
        names = photo_names(again, claim.shown)
        again = cleaned(again, names, claim.shown)
    return _compared(claim, record, again)


def _too_old(record: Mapping[str, Any]) -> str:
    return (
        f"It was measured by debriscount {record.get('version')}, which did not yet write down what it measured with. "
        "Measure the photos again."
    )


def _measured_again(
    record: JsonObject, known: Mapping[str, Path], progress: Callable[[float, str], None]
) -> JsonObject:
    """Measure a record's photos, under the names that they have in it."""
    from .run.measure import measure

    inputs = record["inputs"]
    with tempfile.TemporaryDirectory() as scratch:
        photos: dict[str, list[Path]] = {}
        for shot, photo in record["photos"].items():
            photos[shot] = []
            for number, one in enumerate(_files_of(photo)):
                place = Path(scratch) / f"{len(photos)}-{number}"
                place.mkdir()
                photos[shot].append(place / (Path(str(one["file"])).name or f"{shot}.jpg"))
                shutil.copyfile(known[one["sha256"]], photos[shot][-1])
        afters = [file for shot, file in photos.items() if shot.startswith("after")]
        measurement = measure(
            patch_of(record["patch"]),
            photos["before"],
            afters,
            blank=photos.get("blank"),
            debris=[_read(DebrisKind, kind) for kind in inputs["debris"]],
            lens=None if inputs["lens"] is None else _read(CameraLens, inputs["lens"]),
            weighing=None if inputs["weighing"] is None else _read(Weighing, inputs["weighing"]),
            allow_growth=bool(inputs["allow_growth"]),
            progress=progress,
        )
    again: JsonObject = json.loads(record_bytes(measurement_json(measurement)))
    return again


def _files_of(photo: JsonObject) -> list[JsonObject]:
    """The files of a shot: one or, of a shot that was joined, several."""
    return list((photo.get("joined") or {}).get("photos") or [photo])


def _read(kind: type[Any], value: Any) -> Any:
    """A frozen record out of its JSON values."""
    from pydantic import TypeAdapter

    return TypeAdapter(kind).validate_python(value)


def _compared(claim: _Claim, record: JsonObject, again: JsonObject) -> Checked:
    if record_bytes(again) == claim.content:
        return Checked(name=claim.name, outcome="same")
    then, now = record.get(_MADE_WITH) or {}, again.get(_MADE_WITH) or {}
    differences = list(_differences({**record, _MADE_WITH: None}, {**again, _MADE_WITH: None}))
    grave = [difference for difference in differences if not difference.small]
    if not grave:
        return Checked(name=claim.name, outcome="same within rounding" if differences else "same")
    reasons = []
    if record.get("version") != again.get("version"):
        reasons.append(
            f"It was measured by debriscount {record.get('version')}, and this is {__version__}, which may explain it."
        )
    elif then != now:
        reasons.append(
            f"It was measured with {made_with_text(then) or 'libraries that it does not name'}, and these are "
            f"{made_with_text(now)}, which may explain it."
        )
    else:
        reasons.append(
            "Photos, version and libraries are those of the record. So the record was changed, or a setting in it was."
        )
    reasons += [difference.words for difference in grave[:_MOST_SAID]]
    if len(grave) > _MOST_SAID:
        reasons.append(f"{len(grave) - _MOST_SAID} more values differ.")
    return Checked(name=claim.name, outcome="differs", reasons=tuple(reasons))


@dataclass(frozen=True, slots=True)
class _Difference:
    """A value that is not the same: in words, and whether rounding explains it."""

    words: str
    small: bool


def _differences(claimed: Any, found: Any, place: str = "") -> Iterator[_Difference]:
    """Values of two records that differ, by their place."""
    key = place.rsplit(".", 1)[-1].split("[", maxsplit=1)[0]
    if key in _TIMES:
        return
    if isinstance(claimed, dict) and isinstance(found, dict):
        for name in dict.fromkeys([*claimed, *found]):
            if name not in claimed or name not in found:
                which = "only in the record" if name in claimed else "not in the record"
                yield _Difference(f"{f'{place}.' if place else ''}{name}: {which}.", small=False)
            else:
                yield from _differences(claimed[name], found[name], f"{place}.{name}" if place else str(name))
    elif isinstance(claimed, list) and isinstance(found, list) and len(claimed) == len(found):
        for number, (one, other) in enumerate(zip(claimed, found, strict=True)):
            yield from _differences(one, other, f"{place}[{number}]")
    elif claimed != found:
        yield _Difference(
            f"{place}: {_short(claimed)} in the record, {_short(found)} now.", _small(claimed, found, key)
        )


def _small(claimed: Any, found: Any, key: str) -> bool:
    if isinstance(claimed, bool) or isinstance(found, bool):
        return False
    if not isinstance(claimed, int | float) or not isinstance(found, int | float):
        return False
    unit = key.rsplit("_", 1)[-1]
    return math.isclose(claimed, found, rel_tol=0, abs_tol=_ROUNDING.get(unit, _USUAL_ROUNDING))


def _short(value: Any) -> str:
    text = json.dumps(value, ensure_ascii=False)
    return text if len(text) <= 60 else f"{text[:57]}..."
