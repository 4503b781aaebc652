"""A run's folder as a record: run.json, and the figures of the result beside it."""

import hashlib
import re
from collections.abc import Mapping
from functools import cache
from pathlib import Path
from typing import Any

from ..errors import CampaignError, InputFileError
from ..inputs.record_file import MEASUREMENT, WEIGHING, parsed
from ..inputs.text_file import file_content
from .places import BLANKS, RUN
from .records import (
    RUN_FORMAT,
    Figures,
    FiledAgreement,
    FiledFigure,
    FiledPass,
    FiledRun,
    RunRecord,
    WeighedFigure,
)

#: Far more than a run.json, or a result, takes.
_MOST_BYTES = 16_000_000
_PLAIN_NAME = re.compile(r"[^/\\]+")
_BLANK_PATH = re.compile(rf"\.\./\.\./{BLANKS}/[^/\\]+")
_NEWER = "It was made by another version of debriscount: use that one, or a newer one."
_AGAIN = "run remeasure makes it anew from the photos."
_HAIR = "bin brush left wrap"


def read_run(folder: Path) -> FiledRun:
    """Read a run.

    Parameters
    ----------
    folder : Path
        Its folder, such as runs/0001.

    Returns
    -------
    FiledRun

    Raises
    ------
    CampaignError
        It is not whole, damaged, or of a version that is not known here. The message does not name the folder.
    """
    record = read_run_record(folder)
    try:
        content = file_content(folder / record.result.file, "result", _MOST_BYTES)
    except InputFileError as error:
        raise CampaignError(f"{_without(folder, error)} {_hint(folder, record.result.file)}") from None
    if record.result.sha256 and text_sum(content) != record.result.sha256:
        raise CampaignError(
            f"{record.result.file} is not the one that was filed: it was changed by hand, or half of a copy is older."
            f" Put the right one back; {_AGAIN}"
        )
    return FiledRun(folder=folder, record=record, figures=_figures(record.result.file, content))


def read_run_record(folder: Path) -> RunRecord:
    """Read a run's run.json alone; errors as `read_run`."""
    from pydantic import ValidationError

    try:
        content = file_content(folder / RUN, "run", _MOST_BYTES)
        found = parsed(_text(content, RUN), RUN, (RUN_FORMAT,), _NEWER)
    except InputFileError as error:
        raise CampaignError(f"{_without(folder, error)} {_hint(folder, RUN)}".strip()) from None
    try:
        record: RunRecord = _adapter().validate_python(found)
    except ValidationError as error:
        fault = error.errors(include_url=False)[0]
        place = ".".join(map(str, fault["loc"]))
        raise CampaignError(f"{RUN} was damaged: {place}: {fault['msg'].lower()}. Put that right.") from None
    if f"{record.run:04d}" != folder.name:
        raise CampaignError(
            f"{RUN} is that of run {record.run}, so this folder is a copy of it. Take the copy away, or give it back"
            " its name."
        )
    _check_names(record)
    return record


def run_json(record: RunRecord) -> bytes:
    """Return a run's record as the content of its run.json."""
    text: bytes = _adapter().dump_json(record, indent=1)
    return text + b"\n"


def text_sum(content: bytes) -> str:
    """SHA-256 of a text, whichever way its lines end: version control may change that."""
    return hashlib.sha256(content.replace(b"\r\n", b"\n")).hexdigest()


@cache
def _adapter() -> Any:
    from pydantic import TypeAdapter

    return TypeAdapter(RunRecord)


def _text(content: bytes, name: str) -> str:
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise InputFileError(f"{name}: is not UTF-8 text.") from None


def _without(folder: Path, error: Exception) -> str:
    """A reader's message without the folder, which is named before it."""
    return str(error).replace(f"{folder}/", "").replace(f"{folder}\\", "")


def _hint(folder: Path, name: str) -> str:
    return "" if (folder / name).exists() else "If the campaign is still being copied, wait until that is done."


def _check_names(record: RunRecord) -> None:
    """Refuse names that lead out of the run's folder, other than to a shared blank."""
    files = [record.patch, record.result, record.lens, record.weighing, *record.debris]
    names = [used.file for used in files if used is not None]
    names += [photo.file for shot, photo in record.photos.items() if not _BLANK_PATH.fullmatch(photo.file)]
    for name in names:
        if not _PLAIN_NAME.fullmatch(name) or name in (".", ".."):
            raise CampaignError(f"{RUN} was damaged: it names a file {name}, which is not in the run's folder.")


def _figures(name: str, content: bytes) -> Figures:
    try:
        found = parsed(_text(content, name), name, (MEASUREMENT, WEIGHING), _NEWER)
    except InputFileError as error:
        raise CampaignError(f"{error}") from None
    try:
        return result_figures(found)
    except (KeyError, TypeError, ValueError, AttributeError) as error:
        raise CampaignError(f"{name} was damaged: {error!r}. Put it back; {_AGAIN}") from None


def result_figures(found: Mapping[str, Any]) -> Figures:
    """Return the figures of a measurement's or a weighing's record, as its file has it.

    Raises
    ------
    KeyError, TypeError, ValueError, AttributeError
        It is not whole.
    """
    weighing = found.get("weighing") if found["format"] == MEASUREMENT else found
    return Figures(
        passes=tuple(_pass(one) for one in found.get("passes", ())),
        weighed=_weighed(weighing or {}),
        agreement=_agreement(found.get("agreement")),
        flags=tuple(dict.fromkeys(str(flag["code"]) for flag in found.get("flags", ()) if "code" in flag)),
    )


def _pass(found: Mapping[str, Any]) -> FiledPass:
    left = found.get("leftovers") or {}
    return FiledPass(
        number=int(found["pass"]),
        zones=_zones(found["zones"]),
        kinds={kind: _zones(block["zones"]) for kind, block in found.get("kinds", {}).items()},
        untouched_percent=_number(left.get("untouched_percent")),
    )


def _zones(found: Mapping[str, Any]) -> dict[str, FiledFigure]:
    return {name: _zone(block) for name, block in found.items()}


def _zone(found: Mapping[str, Any]) -> FiledFigure:
    before, after = found["before"], found["after"]
    return FiledFigure(
        pickup_percent=_number(found["pickup_percent"]),
        more_than_percent=_number(found.get("more_than_percent")),
        interval95=_interval(found.get("interval95")),
        gone_percent=_number(found.get("gone_percent")),
        trust=str(found.get("trust", "doubtful")),
        why=str(found.get("why", "")),
        before_mm2=_known(before["area_mm2"]),
        after_mm2=_known(after["area_mm2"]),
        before_g=_number(before.get("mass_g")),
        after_g=_number(after.get("mass_g")),
    )


def _weighed(found: Mapping[str, Any]) -> dict[str, WeighedFigure]:
    names = ["pickup", "by_collection", "by_residue", "elsewhere", "unaccounted"]
    blocks = {name: found.get(f"{name}_percent") for name in names}
    hair = found.get("hair") or {}
    blocks |= {f"hair_{name}": hair.get(f"{name}_percent") for name in _HAIR.split()}
    figures = {}
    for name, block in blocks.items():
        if block is not None and (interval := _interval(block["interval95"])) is not None:
            figures[name] = WeighedFigure(_known(block["value"]), _known(block["u"]), interval)
    return figures


def _agreement(found: Mapping[str, Any] | None) -> FiledAgreement | None:
    if found is None:
        return None
    causes = found.get("causes") or ()
    return FiledAgreement(
        photo_percent=_known(found["photo_percent"]),
        photo_u=_known(found["photo_u"]),
        scale_percent=_known(found["scale_percent"]),
        scale_u=_known(found["scale_u"]),
        verdict=str(found.get("verdict", "")),
        cause=str(causes[0].get("code", causes[0].get("name", ""))) if causes else "",
    )


def _interval(found: Any) -> tuple[float, float] | None:
    if found is None:
        return None
    low, high = found
    return _known(low), _known(high)


def _number(value: Any) -> float | None:
    return None if value is None else _known(value)


def _known(value: Any) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise TypeError(f"{value!r} is no number")
    return float(value)
