"""weighing.toml: read, checked, and handed on as a ``Weighing``."""

import math
from collections.abc import Mapping
from functools import cache
from hashlib import sha256
from os import PathLike
from pathlib import Path
from typing import Annotated, Any

from pydantic import Field, create_model

from ..printable import printable
from .faults import Number, Table, shown, validated
from .text_file import file_content
from .toml_text import Place, TomlText, read_toml
from .weighing import ELSEWHERE, G_PER_UNIT, MOST_G, Net, Scale, Weighing

#: Keys of the readings without their unit, table by table, with what to give.
READINGS: Mapping[str, Mapping[str, str]] = {
    "dispensed": {
        "full": "Give the cup with the portion in it.",
        "empty": "Give the cup after scattering.",
        "portion": "Give the portion itself, weighed after the scale was set to zero with the cup on it.",
        "left_in_cup": "Give what stayed in the cup, if the cup was weighed before it was filled.",
        "usual_empty": "Give the cup when it is clean.",
    },
    "bin": {
        "before": "Give the machine's bin before the run.",
        "after": "Give the machine's bin after the run.",
        "emptied": "Give what was emptied out of the bin.",
        "usual_before": "Give the bin when it is clean.",
    },
    "swept": {
        "open": "Give what was swept up on open floor.",
        "edge": "Give what was swept up along the walls.",
        "corner": "Give what was swept up in the corner.",
        "margin": "Give what was swept up around the patch.",
        "total": "Give all that was swept up, where zones were not kept apart.",
    },
    "elsewhere": {
        "brush": "Give the debris found on the brush.",
        "filter": "Give the debris found on the filter.",
        "wheels": "Give the debris found on the wheels.",
        "hair": "Give the hair cut off the brush.",
        "cup": "Give what stayed in the cup, if the cup was weighed before it was filled.",
    },
}
#: Nobody weighs one load more often.
_MOST_REPEATS = 1000
_PAIRED = {("dispensed", "full"), ("dispensed", "empty"), ("dispensed", "usual_empty")} | {
    ("bin", key) for key in ("before", "after", "usual_before")
}


@cache
def file_model(unit: str) -> type[Table]:
    """Return the model of a file whose readings are in a unit: "g" has keys such as full_g, "oz" full_oz.

    Readings are checked later (`_Readings`): one may be a number, a list or a pair.
    """
    step = Annotated[Number, Field(gt=0, le=MOST_G)]
    scale: dict[str, Any] = {
        "kind": (str | None, Field(default=None, pattern="^kitchen$", description='Give "kitchen", or leave it out.')),
        "unit": (str | None, Field(default=None, pattern="^(g|oz)$", description='Give "g" or "oz".')),
        f"readability_{unit}": (step | None, Field(default=None, description="Give the smallest step of the display.")),
        f"repeatability_{unit}": (
            Annotated[Number, Field(ge=0, le=MOST_G)] | None,
            Field(default=None, description="Give the standard deviation of readings of one load, or leave it out."),
        ),
        f"linearity_{unit}": (
            Annotated[Number, Field(ge=0, le=MOST_G)] | None,
            Field(default=None, description="Give the scale's greatest error at any load, or leave it out."),
        ),
        f"capacity_{unit}": (step | None, Field(default=None, description="Give the scale's greatest load.")),
        "sensitivity_percent": (
            Annotated[Number, Field(ge=0, le=10)],
            Field(default=0.0, description="Give the standard uncertainty of the scale's factor in percent."),
        ),
    }
    tables: dict[str, Any] = {
        "unit": (str | None, Field(default=None, pattern="^(g|oz)$", description='Give "g" or "oz".')),
        "scale": (
            create_model("_Scale", __base__=Table, **scale),
            Field(description='Describe the scale under [scale]; kind = "kitchen" for a usual one.'),
        ),
    }
    for table, keys in READINGS.items():
        fields: dict[str, Any] = {f"{k}_{unit}": (Any, Field(default=None, description=d)) for k, d in keys.items()}
        model = create_model(f"_{table}", __base__=Table, **fields)
        say = Field(description="Say under [dispensed] what was scattered: full_g and empty_g, or portion_g.")
        tables[table] = (model, say) if table == "dispensed" else (model | None, Field(default=None))
    return create_model("_WeighingFile", __base__=Table, **tables)


def read_weighing(path: str | PathLike[str]) -> Weighing:
    """Read a weighing file.

    Parameters
    ----------
    path : path-like
        TOML file: ``[scale]`` and ``[dispensed]``, and what else was weighed: ``[bin]``, ``[swept]``, ``[elsewhere]``.
        Readings are in grams or, if their keys end in ``_oz``, in ounces.

    Returns
    -------
    Weighing
        In grams. A readability that is not given is the last decimal place that any reading uses.

    Raises
    ------
    InputFileError
        With file, line, key and value, for whatever is wrong.
    """
    toml = read_toml(Path(path), "weighing file")
    unit = _unit(toml)
    validated(file_model(unit), toml)
    read = _Readings(toml, unit)
    dispensed = _dispensed(read)
    bin_net, emptied = _bin(read)
    swept = _swept(read)
    left = _left_in_cup(read)
    if dispensed.mass_g - (left.mass_g if left else 0.0) <= 0:
        first = next(iter(toml.content["dispensed"]))
        raise toml.error(
            ("dispensed", first),
            f"[dispensed] {first} leaves nothing that was scattered. Give a cup that is heavier full than empty.",
        )
    elsewhere = {part: net for part in ELSEWHERE if (net := read.net("elsewhere", part)) is not None}
    usual_cup_g, usual_bin_g = read.loads("dispensed", "usual_empty"), read.loads("bin", "usual_before")
    return Weighing(
        scale=_scale(read),  # once all readings were seen
        dispensed=dispensed,
        left_in_cup=left,
        usual_cup_g=usual_cup_g,
        bin=bin_net,
        usual_bin_g=usual_bin_g,
        emptied=emptied,
        swept=swept,
        elsewhere=elsewhere,
        unit=unit,
        file=printable(path),
        sha256=sha256(file_content(toml.path, "weighing file")).hexdigest(),
    )


class _Readings:
    """The readings of a file, as grams."""

    def __init__(self, toml: TomlText, unit: str) -> None:
        self.toml = toml
        self.unit = unit
        self.decimals = 0  # of the reading with most, in the file's unit

    def has(self, table: str, key: str) -> bool:
        return f"{key}_{self.unit}" in self.toml.content.get(table, {})

    def loads(self, table: str, key: str) -> tuple[float, ...]:
        """Readings of one load; none where the file has none."""
        name = f"{key}_{self.unit}"
        if not self.has(table, key):
            return ()
        return self._numbers((table, name), self.toml.content[table][name], READINGS[table][key])

    def net(self, table: str, key: str) -> Net | None:
        """Mass given as readings with the scale set to zero, or as ``{gross = ..., tare = ...}``."""
        if not self.has(table, key):
            return None
        place = (table, f"{key}_{self.unit}")
        value = self.toml.content[table][place[1]]
        if not isinstance(value, dict):
            return Net(self.loads(table, key))
        if set(value) != {"gross", "tare"}:
            raise self._fault(place, shown(value), READINGS[table][key])
        gross, tare = (self._numbers((*place, part), value[part], READINGS[table][key]) for part in ("gross", "tare"))
        return Net(gross, tare)

    def _numbers(self, place: Place, value: Any, advice: str) -> tuple[float, ...]:
        values = value if isinstance(value, list) else [value]
        if not values:
            raise self._fault(place, "[]", advice)
        if len(values) > _MOST_REPEATS:
            raise self._fault(place, f"{len(values)} of them", advice)
        for number in values:
            if isinstance(number, bool) or not isinstance(number, int | float) or not math.isfinite(number):
                raise self._fault(place, shown(number), advice)
            if not 0 <= number * G_PER_UNIT[self.unit] <= MOST_G:
                most = f"{MOST_G / G_PER_UNIT[self.unit]:.0f} {self.unit}"
                named = f"[{place[0]}] {'.'.join(map(str, place[1:]))}"
                raise self.toml.error(place, f"{named} must be from 0 to {most}, got {shown(number)}. {advice}")
            self.decimals = max(self.decimals, _decimals(number))
        return tuple(float(number) * G_PER_UNIT[self.unit] for number in values)

    def _fault(self, place: Place, got: str, advice: str) -> Exception:
        table, name = place[:2]
        pair = "" if (table, str(name).rpartition("_")[0]) in _PAIRED else " or a pair {gross = 53.1, tare = 50}"
        return self.toml.error(
            place,
            f"[{table}] {name} must be a reading such as 3.1, repeats such as [3.1, 3.2]{pair}, got {got}. {advice}",
        )


def _unit(toml: TomlText) -> str:
    """Return the file's unit: what it says, or else what its keys end in."""
    scale = toml.content.get("scale")
    places = {("unit",): toml.content, ("scale", "unit"): scale if isinstance(scale, dict) else {}}
    said = {place: str(table["unit"]) for place, table in places.items() if table.get("unit") in ("g", "oz")}
    if len(set(said.values())) == 2:
        raise toml.error(("scale", "unit"), "[scale] unit differs from the unit at the top. Keep one of them.")
    keys = [(t, k) for t, table in toml.content.items() if isinstance(table, dict) for k in table]
    ounces = any(key.endswith("_oz") for _, key in keys)
    unit = next(iter(said.values()), "oz" if ounces else "g")
    other = "g" if unit == "oz" else "oz"
    for table, key in keys:
        if key.endswith(f"_{other}"):
            raise toml.error(
                (table, key),
                f"[{table}] {key} is in {other}, but the file's unit is {unit}."
                f" Write {key.removesuffix(other)}{unit}, with the reading in {unit}, in every table.",
            )
    return unit


def _scale(read: _Readings) -> Scale:
    table, factor = read.toml.content["scale"], G_PER_UNIT[read.unit]

    def grams(key: str) -> float | None:
        value = table.get(f"{key}_{read.unit}")
        return None if value is None else float(value) * factor

    readability_g = grams("readability")
    return Scale(
        readability_g=10.0**-read.decimals * factor if readability_g is None else readability_g,
        repeatability_g=grams("repeatability"),
        linearity_g=grams("linearity"),
        capacity_g=grams("capacity"),
        sensitivity_percent=float(table.get("sensitivity_percent", 0.0)),
    )


def _dispensed(read: _Readings) -> Net:
    full, empty = read.loads("dispensed", "full"), read.loads("dispensed", "empty")
    portion, toml, unit = read.net("dispensed", "portion"), read.toml, read.unit
    both = f"full_{unit} and empty_{unit}"
    if portion is not None and (full or empty):
        raise toml.error(
            ("dispensed", f"portion_{unit}"),
            f"[dispensed] portion_{unit} stands beside readings of the cup. Give {both}, or portion_{unit} alone.",
        )
    if portion is None and not (full and empty):
        raise toml.error(("dispensed",), f"[dispensed] lacks {both}, or portion_{unit}. Give the cup full and empty.")
    return portion if portion is not None else Net(full, empty)


def _left_in_cup(read: _Readings) -> Net | None:
    apart, elsewhere, unit = read.net("dispensed", "left_in_cup"), read.net("elsewhere", "cup"), read.unit
    if apart is not None and elsewhere is not None:
        raise read.toml.error(
            ("elsewhere", f"cup_{unit}"),
            f"[elsewhere] cup_{unit} is [dispensed] left_in_cup_{unit} once more. Give one of them.",
        )
    return apart if apart is not None else elsewhere


def _bin(read: _Readings) -> tuple[Net | None, Net | None]:
    """Return what the bin gained, and what was emptied out of it."""
    before, after = read.loads("bin", "before"), read.loads("bin", "after")
    emptied, toml, unit = read.net("bin", "emptied"), read.toml, read.unit
    if bool(before) != bool(after):
        given, lacks = ("before", "after") if before else ("after", "before")
        raise toml.error(
            ("bin", f"{given}_{unit}"),
            f"[bin] has {given}_{unit} but lacks {lacks}_{unit}. {READINGS['bin'][lacks]}",
        )
    if "bin" in toml.content and not before and emptied is None:
        raise toml.error(("bin",), f"[bin] lacks before_{unit} and after_{unit}, or emptied_{unit}. Give one of them.")
    return (Net(after, before) if before else None), emptied


def _swept(read: _Readings) -> dict[str, Net]:
    """Return what was swept up, by zone or in all."""
    swept = {zone: net for zone in READINGS["swept"] if (net := read.net("swept", zone)) is not None}
    if "total" in swept and len(swept) > 1:
        key = f"total_{read.unit}"
        raise read.toml.error(("swept", key), f"[swept] {key} stands beside zones. Give either the zones or the total.")
    return swept


def _decimals(number: float) -> int:
    """Decimal places that a number needs, as it was written."""
    digits = f"{number:.9f}".rstrip("0")
    return len(digits.partition(".")[2])
