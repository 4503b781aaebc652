"""What pydantic found wrong with a file, said in one line that a person can act on."""

from collections.abc import Iterable
from difflib import get_close_matches
from itertools import islice
from typing import Annotated, Any, TypeVar, get_args

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, StringConstraints, ValidationError
from pydantic.fields import FieldInfo
from pydantic_core import ErrorDetails, PydanticCustomError

from ..printable import printable
from .names import name_fault
from .toml_text import Place, TomlText

# Strict, so that true is no number and "30" is none either.
Number = Annotated[float, Field(strict=True, allow_inf_nan=False)]
#: Characters of a value or key in a message.
_MOST_SHOWN = 60


def _checked_name(name: str) -> str:
    if fault := name_fault(name):
        raise PydanticCustomError("name", "{fault}", {"fault": fault})
    return name


Name = Annotated[str, StringConstraints(strip_whitespace=True), AfterValidator(_checked_name)]
#: Names of files, which file systems limit, and remarks; control characters in them are for whoever prints them.
FileName = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=255)]
Remark = Annotated[str, StringConstraints(max_length=100_000)]

#: pydantic's error types in our words; the values come from the error's context.
_WORDS = {
    "greater_than": "must be greater than {gt:g}",
    "greater_than_equal": "must be at least {ge:g}",
    "less_than_equal": "must be at most {le:g}",
    "finite_number": "must be a finite number",
    "float_type": "must be a number",
    "int_type": "must be a whole number",
    "string_type": "must be text in quotes",
    "string_too_short": "must not be empty",
    "string_pattern_mismatch": "has the wrong form",
    "tuple_type": "must be a list in square brackets",
    "string_too_long": "must have at most {max_length} characters",
    "too_long": "must hold {max_length} values",
    "name": "{fault}",
}


class Table(BaseModel):
    """Base of the models of a file's tables: no unknown keys, no changes."""

    model_config = ConfigDict(extra="forbid", frozen=True)


AnyTable = TypeVar("AnyTable", bound=Table)


def validated(model: type[AnyTable], toml: TomlText) -> AnyTable:
    """Return the file's content as a model.

    Parameters
    ----------
    model : type of Table
        Each field's description is the advice that ends a message about it.
    toml : TomlText
        The file.

    Returns
    -------
    Table
        An instance of ``model``.

    Raises
    ------
    InputFileError
        For the first fault of the file; an unknown key comes before all else, since a misspelt key
        is also a missing one.
    """
    try:
        return model.model_validate(toml.content)
    except ValidationError as error:
        faults = error.errors(include_url=False)
    first = min(faults, key=lambda fault: (fault["type"] != "extra_forbidden", toml.line_of(fault["loc"]) or 0))
    raise toml.error(first["loc"], _message(model, first)) from None


def closest(word: str, known: Iterable[str]) -> str:
    """Return ``Did you mean "…"?``, or all that is known where nothing comes close."""
    names = list(known)
    near = get_close_matches(word[:_MOST_SHOWN], names, n=1, cutoff=0.5)
    return f'Did you mean "{near[0]}"?' if near else f"Known are: {', '.join(names)}."


def shown(value: object) -> str:
    """Return a value as a TOML file would have it, cut where it is long."""
    if isinstance(value, list | tuple | dict):
        value = _beginning(value)
    text = str(value).lower() if isinstance(value, bool) else f'"{value}"' if isinstance(value, str) else str(value)
    return text if len(text) <= _MOST_SHOWN else text[: _MOST_SHOWN - 3] + "..."


def _beginning(values: Any) -> Any:
    """As much of a list or table as is shown, since the text of all of it may be long."""
    if isinstance(values, dict):
        return dict(islice(values.items(), _MOST_SHOWN))
    return type(values)(islice(values, _MOST_SHOWN))


def _message(model: type[Table], fault: ErrorDetails) -> str:
    place, kind = fault["loc"], fault["type"]
    table, field = _around(model, place)
    named = _label(place)
    advice = f" {field.description}" if field and field.description else ""
    if kind == "extra_forbidden":
        return f"{named} is unknown. {closest(str(place[-1]), table.model_fields)}"
    if kind == "missing" and isinstance(place[-1], str):
        what = f"[{place[0]}]" if len(place) == 1 else str(place[-1])
        return f"{_header(place[:-1]) if len(place) > 1 else 'the file'} lacks {what}.{advice}"
    if kind == "missing":  # from a pair of numbers
        words = "must hold 2 values"
        named = _label(place[:-1])
    elif kind == "model_type":
        words = f"must be a table, written {_header(place)}"
    elif kind == "tuple_type" and field and _inner_table(field.annotation):
        words = f"must be written {_header((*place, 0))}, once for each"
    elif kind == "too_long" and fault["ctx"]["max_length"] > 3:
        words = f"must hold at most {fault['ctx']['max_length']} values"
    else:
        words = _WORDS[kind].format(**fault.get("ctx", {}))
    return f"{named} {words}, got {shown(fault['input'])}.{advice}"


def _header(place: Place) -> str:
    """Name a table as its header stands in the file: ``[patch]``, ``[[markers]]``."""
    names = ".".join(_short(part) for part in place if isinstance(part, str))
    return f"[[{names}]]" if any(isinstance(part, int) for part in place) else f"[{names}]"


def _label(place: Place) -> str:
    """Name a value: ``[patch] width_mm``, ``[[markers]] center_mm value 2``."""
    names = [number for number, part in enumerate(place) if isinstance(part, str)]
    last = names[-1]
    entry = "".join(f" value {int(part) + 1}" for part in place[last + 1 :])
    named = f"{_header(place[:last])} {_short(place[last])}" if last else _short(place[0])
    return f"{named}{entry}"


def _short(part: str | int) -> str:
    return printable(part, _MOST_SHOWN)


def _around(model: type[Table], place: Place) -> tuple[type[Table], FieldInfo | None]:
    """Return the innermost table's model around a place, and the field it ends in if there is one."""
    table, field = model, None
    for part in place:
        if isinstance(part, str):
            table = (_inner_table(field.annotation) if field else None) or table
            field = table.model_fields.get(part)
    return table, field


def _inner_table(annotation: Any) -> type[Table] | None:
    """Return the table model in ``Table``, ``tuple[Table, ...]`` or ``Table | None``."""
    if isinstance(annotation, type) and issubclass(annotation, Table):
        return annotation
    return next((found for part in get_args(annotation) if (found := _inner_table(part))), None)
