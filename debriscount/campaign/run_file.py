"""A run's folder as a record: run.json, and the figures of the result beside it."""

import hashlib
import re
from codecs import BOM_UTF8
from collections.abc import Mapping
from datetime import datetime
from functools import cache
from pathlib import Path
from typing import Any

from ..errors import CampaignError, InputFileError
from ..inputs.record_file import MEASUREMENT, WEIGHING, parsed
from ..inputs.text_file import file_content
from ..printable import printable
from .places import BLANKS, RUN
from .records import RUN_FORMAT, Figures, FiledRun, RunRecord

#: Far more than a run.json, or a result, takes.
_MOST_BYTES = 16_000_000
_PLAIN_NAME = re.compile(r"[^/\\]+")
_BLANK_PATH = re.compile(rf"\.\./\.\./{BLANKS}/[^/\\]+")
_NEWER = "It was made by another version of debriscount: use that one, or a newer one."
_PUT_BACK = "Put that right, or put back the file as it was."
_COPYING = "If the campaign is still being copied, wait until that is done; or else put the file back."
_AGAIN = "run remeasure makes it anew from the photos."
#: The result of a run that was weighed only.
WEIGHING_FILE = "weighing.json"


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
    content = _content(folder, record.result.file, "result")
    if record.result.sha256 and text_sum(content) != record.result.sha256:
        raise CampaignError(
            f"{record.result.file} is not the one that was filed: it was changed by hand, or half of a copy is older."
            f" Put the right one back; {_AGAIN}"
        )
    return FiledRun(folder=folder, record=record, figures=_figures(record.result.file, content))


def read_run_record(folder: Path) -> RunRecord:
    """Read a run's run.json alone; errors as `read_run`."""
    from pydantic import ValidationError

    content = _content(folder, RUN, "run")
    try:
        record: RunRecord = _adapter().validate_json(content.removeprefix(BOM_UTF8))
    except ValidationError as error:
        fault = error.errors(include_url=False)[0]
        try:
            parsed(_text(content, RUN), RUN, (RUN_FORMAT,), _NEWER)
        except InputFileError as worse:
            raise CampaignError(f"{worse}" if _NEWER in f"{worse}" else f"{worse} {_PUT_BACK}") from None
        raise CampaignError(f"{RUN} was damaged: {fault_text(fault)}. Put that right.") from None
    if f"{record.run:04d}" != folder.name:
        raise CampaignError(
            f"{RUN} is that of run {record.run}, so this folder is a copy of it. Take the copy away, or give it back"
            " its name."
        )
    _check_names(record)
    try:
        datetime.fromisoformat(record.when)
    except ValueError:
        raise CampaignError(
            f'{RUN} was damaged: when is "{printable(record.when, 40)}", but must be like 2026-12-01T09:30:00. Put that'
            " right."
        ) from None
    return record


def run_json(record: RunRecord) -> bytes:
    """Return a run's record as the content of its run.json."""
    text: bytes = _adapter().dump_json(record, indent=1)
    return text + b"\n"


def text_sum(content: bytes) -> str:
    """SHA-256 of a text, whichever way its lines end: version control may change that."""
    plain = content.replace(b"\r\n", b"\n") if b"\r" in content else content  # which is found out sooner
    return hashlib.sha256(plain).hexdigest()


@cache
def _adapter() -> Any:
    from pydantic import TypeAdapter

    return TypeAdapter(RunRecord)


def _text(content: bytes, name: str) -> str:
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise InputFileError(f"{name}: is not UTF-8 text.") from None


def _content(folder: Path, name: str, what: str) -> bytes:
    """A file of a run; what is wrong is said without the folder, which is named before it."""
    try:
        return file_content(folder / name, what, _MOST_BYTES)
    except InputFileError as error:
        if not (folder / name).exists():
            raise CampaignError(f"{name} is missing. {_COPYING}") from None
        raise CampaignError(str(error).replace(f"{folder}/", "").replace(f"{folder}\\", "")) from None


def _check_names(record: RunRecord) -> None:
    """Refuse names that lead out of the run's folder, other than to a shared blank."""
    files = [record.patch, record.result, record.lens, record.weighing, *record.debris]
    names = [used.file for used in files if used is not None]
    names += [photo.file for shot, photo in record.photos.items() if not _BLANK_PATH.fullmatch(photo.file)]
    for name in names:
        if not _PLAIN_NAME.fullmatch(name) or name in (".", ".."):
            raise CampaignError(f"{RUN} was damaged: it names a file {name}, which is not in the run's folder.")


def _figures(name: str, content: bytes) -> Figures:
    """Figures of a result; the common way goes past the careful one, which says what is wrong."""
    from pydantic import ValidationError

    from .result_file import MeasurementRecord, WeighingRecord, result_figures

    model = WeighingRecord if name == WEIGHING_FILE else MeasurementRecord
    try:
        return result_figures(model.model_validate_json(content))
    except ValidationError as error:
        fault = error.errors(include_url=False)[0]
    try:
        parsed(_text(content, name), name, (WEIGHING if name == WEIGHING_FILE else MEASUREMENT,), _NEWER)
    except InputFileError as error:
        raise CampaignError(f"{error}") from None
    raise CampaignError(f"{name} was damaged: {fault_text(fault)}. Put it back; {_AGAIN}") from None


def fault_text(fault: Mapping[str, Any]) -> str:
    """What pydantic found wrong with a record, with the place."""
    return f"{'.'.join(map(str, fault['loc']))}: {str(fault['msg']).lower()}"
