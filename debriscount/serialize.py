"""Records as plain JSON values, numbers rounded by the unit in which the name of their field ends."""

import math
from collections.abc import Iterable, Mapping
from dataclasses import fields, is_dataclass
from numbers import Integral
from typing import Any

from .stats.quantity import Quantity

JsonObject = dict[str, Any]

PERCENT_DECIMALS = 4
AREA_DECIMALS = 3  # 0.001 mm² is a fiftieth of the smallest pixel in use
MASS_DECIMALS = 5  # 0.01 mg, below one grain of fine sand
LENGTH_DECIMALS = 4
#: By the end of a name; a score only ranks. Other numbers are rounded as percentages, but whole ones stay whole.
DECIMALS = {
    "_percent": PERCENT_DECIMALS,
    "_mm": LENGTH_DECIMALS,
    "_mm2": AREA_DECIMALS,
    "_g": MASS_DECIMALS,
    "_deg": 2,
    "score": 3,
}
#: Degrees of freedom that make no difference any more.
_MANY = 1e4


def rounded(value: float | None, decimals: int) -> float | None:
    """Return the value rounded, or None where it is unknown or not finite; never minus zero."""
    if value is None or not math.isfinite(value):
        return None
    return round(float(value), decimals) + 0.0


def plain(value: Any, name: str = "") -> Any:
    """Return a value as plain JSON values.

    Parameters
    ----------
    value : object
        A record, a `Quantity`, a mapping, a sequence, text, truth, a number or None.
    name : str
        Of the field that holds it; by its unit numbers are rounded, and an interval with an unknown end is None.

    Returns
    -------
    object
        A record as a dict by field; a `Quantity` with its degrees of freedom, None for many, and its 95 % interval.
    """
    if isinstance(value, Quantity):
        return {
            "value": plain(value.value, name),
            "u": plain(value.u, name),
            "dof": rounded(value.dof, 1) if value.dof < _MANY else None,
            "interval95": plain(value.interval95(), name),
        }
    if is_dataclass(value):
        return {field.name: plain(getattr(value, field.name), field.name) for field in fields(value)}
    if isinstance(value, Mapping):
        return {key: plain(item, name) for key, item in value.items()}
    if isinstance(value, Iterable) and not isinstance(value, str):
        items = [plain(item, name) for item in value]
        return None if "interval95" in name and None in items else items
    return _single(value, name)


def _single(value: Any, name: str) -> str | float | None:
    if value is None or isinstance(value, str | bool):
        return value
    decimals = next((digits for unit, digits in DECIMALS.items() if name.endswith(unit)), None)
    if isinstance(value, Integral) and decimals is None:
        return int(value)
    return rounded(value, decimals or PERCENT_DECIMALS)


def picked(record: object, names: str) -> JsonObject:
    """Return some fields of a record as plain JSON values.

    Parameters
    ----------
    record : dataclass
        The record.
    names : str
        Its fields or properties, separated by blanks; "key=field" puts one under another key.
    """
    pairs = (name.partition("=") for name in names.split())
    return {key: plain(getattr(record, field or key), field or key) for key, _, field in pairs}
