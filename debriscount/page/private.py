"""Records and tables as they may leave the house: without times of day, photo files' names, and marks that mislead."""

import csv
import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from ..campaign.records import RunRecord
from ..columns import csv_text
from ..printable import printable, printable_lines
from ..serialize import JsonObject

_DAY = len("2026-12-01")
#: Names of keys that hold a day and time.
_TIMES = ("taken", "when", "date", "measured_when")


@dataclass(frozen=True, slots=True, kw_only=True)
class Shown:
    """What is shown although it tells when a photo was taken, or how its file was called."""

    times: bool = False
    file_names: bool = False


def photo_names(record: JsonObject, shown: Shown) -> dict[str, str]:
    """Return by what name each photo file of a measurement goes outside: usually the shot's, such as before.jpg.

    Parameters
    ----------
    record : dict
        A measurement's record.
    shown : Shown
        Whether files keep their names.
    """
    names: dict[str, str] = {}
    each = [(shot, photo) for shot, photo in record["photos"].items()]
    for shot, photo in record["photos"].items():
        parts = (photo.get("joined") or {}).get("photos", ())
        each += [(f"{shot}-{number}", part) for number, part in enumerate(parts, start=1)]
    for shot, photo in each:
        file = str(photo.get("file") or "")
        if file:
            ending = re.search(r"\.[A-Za-z0-9]{1,5}$", file)
            names[file] = printable(file, 80) if shown.file_names else f"{shot}{ending[0].lower() if ending else ''}"
    return names


def cleaned(value: Any, names: Mapping[str, str], shown: Shown, key: str = "") -> Any:
    """Return JSON values as they may leave the house.

    Parameters
    ----------
    value : object
        A record or part of one.
    names : mapping of str to str
        What to put in the place of names of files, wherever they stand in a text.
    shown : Shown
        Whether times stay whole.
    key : str
        Under which key the value stands.
    """
    if isinstance(value, str):
        if key in _TIMES and not shown.times:
            value = value[:_DAY]
        return printable(renamed(value, names))
    if isinstance(value, dict):
        # Where portions for a debris file were photographed says nothing of the run.
        return {
            printable(name): [] if name == "portions" else cleaned(item, names, shown, name)
            for name, item in value.items()
        }
    if isinstance(value, list):
        return [cleaned(item, names, shown, key) for item in value]
    return value


def cleaned_run(run: RunRecord, shown: Shown) -> RunRecord:
    """Return what a campaign says of a run as it may leave the house."""

    def day(when: str) -> str:
        return when if shown.times else when[:_DAY]

    return replace(
        run,
        when=day(run.when),
        machine=printable(run.machine),
        software=printable(run.software),
        settings={printable(name): printable(value) for name, value in run.settings.items()},
        floor=printable(run.floor),
        block=printable(run.block),
        photos={},
        side=tuple(replace(one, when=day(one.when)) for one in run.side),
        notes=tuple(replace(note, when=day(note.when), text=printable(note.text)) for note in run.notes),
    )


def renamed(text: str, names: Mapping[str, str]) -> str:
    """Put other names in the place of file names, the longest first: one may be part of another."""
    for name in sorted(names, key=len, reverse=True) if names else ():
        text = text.replace(name, names[name])
    return text


#: Where a cell of a CSV table may begin as a formula does; a number with its sign does not.
_MAYBE_FORMULA = re.compile(r"(?:^|,)\"?[ \t\r]*(?:[=+@]|-(?![\d.]))", re.MULTILINE)


def cleaned_table(text: str, names: Mapping[str, str]) -> str:
    """Return a CSV table as it may leave the house; no cell of it is a formula."""
    text = printable_lines(renamed(text.replace("\r\n", "\n"), names))
    if _MAYBE_FORMULA.search(text) is None:  # as a rule, and a hundred times as fast
        return text
    return csv_text(csv.reader(text.splitlines()))
