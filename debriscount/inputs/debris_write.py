"""debris.toml: a kind of debris as the text of its file."""

from dataclasses import fields
from typing import Any

import tomlkit

from .debris import CalibrationPortion, DebrisCalibration, DebrisKind

_REMARKS = {
    "color": "roughly, in daylight",
    "size_mm": "5th and 95th percentile of grain diameter",
    "area_mass_mg_per_mm2": "mass behind a mm² seen from above",
    "crowding": "0 for a single layer, 1 for random overlap",
    "u_area_mass_mg_per_mm2": "standard uncertainties",
    "dof_area_mass": "degrees of freedom of it; many where none are given",
}


def debris_toml(kind: DebrisKind, remark: str = "") -> str:
    """Return a kind as a debris file, with a comment beside what a name leaves open.

    Parameters
    ----------
    kind : DebrisKind
        Its calibration included.
    remark : str
        Where the values come from; each line becomes a comment at the file's head.

    Returns
    -------
    str
        What `debriscount.inputs.debris_file.read_debris` reads as the same kind, its figures to seven digits.
    """
    document = tomlkit.document()
    for line in remark.splitlines():
        document.add(tomlkit.comment(line))
    debris = {
        "name": kind.name,
        "color": "#{:02x}{:02x}{:02x}".format(*kind.color_srgb),
        "size_mm": list(kind.size_mm),
        "grain_mass_mg": kind.grain_mass_mg,
        "area_mass_mg_per_mm2": kind.area_mass_mg_per_mm2,
        "crowding": kind.crowding,
    }
    document.add("debris", _table(debris))
    if kind.calibration is not None:
        document.add("calibration", _calibration(kind.calibration))
    return tomlkit.dumps(document)


def _calibration(how: DebrisCalibration) -> Any:
    told = {f.name: getattr(how, f.name) for f in fields(how) if f.name != "portions"}
    table = _table({key: value for key, value in told.items() if value != ""})
    portions = tomlkit.aot()
    for portion in how.portions:
        portions.append(_table({f.name: getattr(portion, f.name) for f in fields(CalibrationPortion)}))
    table.add("portions", portions)
    return table


def _table(content: dict[str, Any]) -> Any:
    table = tomlkit.table()
    for key, value in content.items():
        if value is None:
            continue
        table.add(key, _plain(value))
        if key in _REMARKS:
            table[key].comment(_REMARKS[key])
    return table


def _plain(value: Any) -> Any:
    """Return numbers as a person writes them, with seven digits at most."""
    if isinstance(value, tuple | list):
        return [_plain(part) for part in value]
    if not isinstance(value, float):
        return value
    short = float(f"{value:.7g}")
    return int(short) if short.is_integer() and abs(short) < 1e15 else short
