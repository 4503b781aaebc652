"""Records that a program wrote, as JSON that says what format it is of."""

import json
from collections.abc import Collection
from pathlib import Path
from typing import Any

from ..errors import InputFileError
from ..printable import printable
from .text_file import file_text
from .toml_guard import line_of_long_number

#: Formats of the records of a measurement and of a weighing that stands alone.
MEASUREMENT, WEIGHING = "debriscount/measurement/1", "debriscount/weighing/1"
#: Far more than a record takes.
MOST_BYTES = 64_000_000


def read_json(path: Path, formats: Collection[str], cure: str) -> dict[str, Any]:
    """Read a record.

    Parameters
    ----------
    path : Path
        The file.
    formats : collection of str
        Formats that can be read, such as "debriscount/measurement/1".
    cure : str
        What to do about a record of another format, as a sentence.

    Returns
    -------
    dict
        The record, as it was written.

    Raises
    ------
    InputFileError
        The file cannot be read, is no JSON object, or is of another format.
    """
    return parsed(file_text(path, "record", MOST_BYTES), str(path), formats, cure)


def parsed(text: str, name: str, formats: Collection[str], cure: str) -> dict[str, Any]:
    """Return the record in a text; ``name`` stands before what is wrong with it, all else as `read_json`."""
    try:
        record = json.loads(text, parse_constant=_refuse_constant)
    except RecursionError:
        raise InputFileError(f"{name}: is nested too deeply. Give a record.") from None
    except ValueError as error:
        if (line := line_of_long_number(text)) is not None:  # Python's limit of digits
            raise InputFileError(f"{name} line {line}: holds a number of too many digits. Give a record.") from None
        raise InputFileError(f"{name}: is not a JSON file ({error}).") from error
    found = record.get("format") if isinstance(record, dict) else None
    if not isinstance(found, str) or found not in formats:
        other = printable(json.dumps(found), 60)
        known = " and ".join(json.dumps(one) for one in formats)
        raise InputFileError(f"{name}: its format is {other}, but only {known} can be read here. {cure}")
    return dict(record)


def _refuse_constant(name: str) -> None:
    raise ValueError(f"{name} is not a JSON number")
