"""All runs of a campaign, read quickly: what was read before is kept in an index beside them."""

import os
import re
import time
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from ..errors import CampaignError, DebriscountError, OutputError
from ..inputs.exchange import settle
from ..inputs.save import save_files
from .places import RUN, RUNS
from .records import Figures, FiledRun, RunRecord, RunsRead, Unread
from .run_file import read_run

#: In the folder of runs; may be deleted at any time.
INDEX = ".index.json"
_FORMAT = "debriscount/index/2"
#: Runs that have to be read anew before the index is worth writing: these take a twentieth of a second.
_WORTH = 25
#: Files changed less than so long ago may change again without their time showing it, s: FAT keeps even seconds.
_SETTLED_S = 3.0
_NUMBERED = re.compile(r"\d{4,}")

_Stamp = tuple[int, int, int, int]


@dataclass(frozen=True, slots=True)
class _Known:
    """A run as it was read from files of these sizes and times of change."""

    stamp: _Stamp
    record: RunRecord
    figures: Figures


@dataclass(frozen=True, slots=True)
class _Index:
    format: str
    runs: Mapping[str, _Known]


def read_runs(campaign: Path) -> RunsRead:
    """Read all runs of a campaign, withdrawn ones included.

    Parameters
    ----------
    campaign : Path
        The campaign's folder.

    Returns
    -------
    RunsRead
        In the order of their numbers. A run that is damaged, not whole, or of an unknown version is named beside them,
        and keeps none of the others back.

    Raises
    ------
    CampaignError
        The folder of runs cannot be looked into.
    """
    home, started = campaign / RUNS, time.time()
    index = _read_index(home / INDEX)
    runs: list[FiledRun] = []
    unread: list[Unread] = []
    fresh: dict[str, _Known] = {}
    anew = 0
    for name in _folders(home):
        folder = home / name
        if not _NUMBERED.fullmatch(name):
            unread.append(
                Unread(name, "It is no run's folder: those are called 0001, 0002 and so on. Move it elsewhere.")
            )
            continue
        known = index.get(name)
        if known is None or _stamp(folder, known.record.result.file) != known.stamp:
            anew += 1
            try:
                known = _read_whole(folder)
            except DebriscountError as error:
                unread.append(Unread(name, str(error)))
                continue
        fresh[name] = known
        runs.append(FiledRun(folder=folder, record=known.record, figures=known.figures))
    if anew >= _WORTH:
        _write_index(home / INDEX, fresh, started)
    runs.sort(key=lambda run: run.record.run)
    return RunsRead(tuple(runs), tuple(unread))


def run_numbers(campaign: Path) -> tuple[int, ...]:
    """Numbers that folders of runs have taken, readable or not, ascending."""
    return tuple(sorted(int(name) for name in _folders(campaign / RUNS) if _NUMBERED.fullmatch(name)))


def _folders(home: Path) -> list[str]:
    try:
        with os.scandir(home) as entries:
            return sorted(entry.name for entry in entries if not entry.name.startswith(".") and entry.is_dir())
    except FileNotFoundError:
        return []
    except OSError as error:
        raise CampaignError(f"{home}: cannot be looked into ({error.strerror}). Check the folder's rights.") from None


def _read_whole(folder: Path) -> _Known:
    """Read a run; what a writer that died has left half done is put right first."""
    if not (folder / RUN).is_file():
        with suppress(OSError, OutputError):  # a folder that cannot be written is read as it is
            settle(folder, folder.name)
    run = read_run(folder)
    stamp = _stamp(folder, run.record.result.file)
    return _Known(stamp or (0, 0, 0, 0), run.record, run.figures)


def _stamp(folder: Path, result: str) -> _Stamp | None:
    try:
        run, found = os.stat(f"{folder}/{RUN}"), os.stat(f"{folder}/{result}")  # noqa: PTH116 - a path object takes longer
    except OSError:
        return None
    return run.st_size, run.st_mtime_ns, found.st_size, found.st_mtime_ns


def _read_index(path: Path) -> Mapping[str, _Known]:
    """The index; nothing where there is none, or one of another version, or a damaged one."""
    from pydantic import ValidationError

    try:
        content = path.read_bytes()
        index: _Index = _adapter().validate_json(content)
    except (OSError, ValidationError, ValueError):
        return {}
    return index.runs if index.format == _FORMAT else {}


def _write_index(path: Path, runs: Mapping[str, _Known], started: float) -> None:
    newest_ns = (started - _SETTLED_S) * 1e9
    settled = {name: known for name, known in runs.items() if max(known.stamp[1], known.stamp[3]) < newest_ns}
    content: bytes = _adapter().dump_json(_Index(_FORMAT, settled))
    with suppress(OutputError):  # the folder may not be ours to write
        save_files({path: content}, overwrite=True)


@cache
def _adapter() -> Any:
    from pydantic import TypeAdapter

    return TypeAdapter(_Index)
