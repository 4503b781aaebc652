"""debris.toml: read, checked, and handed on as a ``DebrisKind``."""

from collections.abc import Sequence
from os import PathLike
from pathlib import Path
from typing import Annotated

from pydantic import Field

from ..errors import InputFileError
from .debris import CalibrationPortion, DebrisCalibration, DebrisKind
from .faults import FileName, Name, Number, Remark, Table, validated
from .names import name_fault
from .toml_text import TomlText, read_toml

#: More than any grain, portion or patch has, whatever the unit.
_MOST = 1e9
_Mass = Annotated[Number, Field(gt=0, le=_MOST)]
_Size = Annotated[Number, Field(gt=0, le=1000)]
_Doubt = Annotated[Number, Field(ge=0, le=_MOST)]
_MOST_PORTIONS, _MOST_PHOTOS = 1000, 100
#: What the tables of results call the whole of it.
_NAMES_TAKEN = ("patch",)
_SHA256 = Annotated[str, Field(pattern="^[0-9a-f]{64}$")]


class _DebrisTable(Table):
    name: Name = Field(description="Give the debris a name.")
    color: str = Field(pattern="^#[0-9a-fA-F]{6}$", description='Write the colour as "#rrggbb", such as "#a8482c".')
    size_mm: tuple[_Size, _Size] = Field(
        description="Give the 5th and 95th percentile of grain diameter in millimetres, the smaller first."
    )
    grain_mass_mg: _Mass | None = Field(
        default=None, description="Give the mass of one grain in milligrams, or leave it out."
    )
    area_mass_mg_per_mm2: _Mass | None = Field(
        default=None,
        description="Give the mass in milligrams behind one mm² seen from above, or leave it out.",
    )
    crowding: Annotated[Number, Field(ge=0, le=1000)] = Field(
        default=0.0, description="Give 0 for a single layer, 1 for random overlap, or leave it out."
    )


class _PortionTable(Table):
    photos: tuple[FileName, ...] = Field(max_length=_MOST_PHOTOS, description="Name the photos of the portion.")
    sha256: tuple[_SHA256, ...] = Field(max_length=_MOST_PHOTOS, description="Give the SHA-256 of each photo.")
    grams: _Mass = Field(description="Give the mass of the portion in grams.")
    u_grams: _Doubt = Field(description="Give the standard uncertainty of grams.")
    area_mm2: _Mass = Field(description="Give the area seen, with crowding undone.")
    grains: _Mass | None = Field(default=None, description="Give the number of grains, or leave it out.")


class _CalibrationTable(Table):
    date: str = Field(pattern=r"^\d{4}-\d\d-\d\d$", description='Give the day as "2026-11-25".')
    patch: Name = Field(description="Give the name of the patch on which the portions lay.")
    remark: Remark = Field(default="", description="Say what the photos are.")
    u_area_mass_mg_per_mm2: _Doubt = Field(description="Give the standard uncertainty of area_mass_mg_per_mm2.")
    dof_area_mass: _Mass | None = Field(default=None, description="Give its degrees of freedom, or leave it out.")
    u_grain_mass_mg: _Doubt | None = Field(default=None, description="Give the standard uncertainty of grain_mass_mg.")
    dof_grain_mass: _Mass | None = Field(default=None, description="Give its degrees of freedom, or leave it out.")
    u_crowding: _Doubt | None = Field(default=None, description="Give the standard uncertainty of crowding.")
    thousand_grain_mass_g: _Mass | None = Field(default=None, description="Give the mass of a thousand grains, grams.")
    u_thousand_grain_mass_g: _Doubt | None = Field(default=None, description="Give its standard uncertainty.")
    portions: tuple[_PortionTable, ...] = Field(
        max_length=_MOST_PORTIONS, description="Each weighed portion begins with [[calibration.portions]]."
    )


class DebrisFile(Table):
    """A debris file as it is written."""

    debris: _DebrisTable = Field(description="Describe the debris under [debris].")
    calibration: _CalibrationTable | None = Field(
        default=None, description="Say under [calibration] how the masses were learned, or leave that out."
    )


def read_debris(path: str | PathLike[str]) -> DebrisKind:
    """Read a debris file.

    Parameters
    ----------
    path : path-like
        TOML file with a table ``[debris]`` and, from ``debriscount portion``, ``[calibration]``.

    Returns
    -------
    DebrisKind

    Raises
    ------
    InputFileError
        With file, line, key and value, for whatever is wrong.

    Examples
    --------
    >>> lentils = read_debris("red-lentils.toml")
    >>> lentils.name, lentils.size_mm
    ('red lentils', (4.14, 5.58))
    """
    toml = read_toml(Path(path), "debris file")
    content = validated(DebrisFile, toml)
    table = content.debris
    small, large = table.size_mm
    if large < small:
        raise toml.error(
            ("debris", "size_mm"),
            f"[debris] size_mm must ascend, got [{small:g}, {large:g}]. Give the smaller first.",
        )
    if fault := name_fault(table.name, _NAMES_TAKEN):
        raise toml.error(("debris", "name"), f"[debris] name {fault}. Choose another.")
    red, green, blue = bytes.fromhex(table.color[1:])
    return DebrisKind(
        name=table.name,
        color_srgb=(red, green, blue),
        size_mm=table.size_mm,
        grain_mass_mg=table.grain_mass_mg,
        area_mass_mg_per_mm2=table.area_mass_mg_per_mm2,
        crowding=table.crowding,
        calibration=_calibration(content.calibration, toml),
    )


def _calibration(table: _CalibrationTable | None, toml: TomlText) -> DebrisCalibration | None:
    if table is None:
        return None
    for number, portion in enumerate(table.portions):
        if not len(portion.photos) == len(portion.sha256) > 0:
            raise toml.error(
                ("calibration", "portions", number, "sha256"),
                f"[[calibration.portions]] has {len(portion.photos)} photos and {len(portion.sha256)} sha256. "
                "Give one or more photos, and the SHA-256 of each.",
            )
    told = table.model_dump()
    portions = tuple(CalibrationPortion(**portion) for portion in told.pop("portions"))
    return DebrisCalibration(**told, portions=portions)


def read_debris_files(paths: Sequence[str | PathLike[str]]) -> tuple[DebrisKind, ...]:
    """Read the debris files of one run.

    Parameters
    ----------
    paths : sequence of path-like
        One file a kind; may be empty.

    Returns
    -------
    tuple of DebrisKind
        In the order of ``paths``.

    Raises
    ------
    InputFileError
        As `read_debris`, and where two files give the same name (capitals make no difference).
    """
    kinds: dict[str, DebrisKind] = {}
    came_from: dict[str, Path] = {}
    for path in paths:
        kind = read_debris(path)
        key = kind.name.casefold()
        if key in kinds:
            raise InputFileError(
                f'{path}: the name "{kind.name}" is that of {came_from[key]} already. Give each kind a name of its own.'
            )
        kinds[key], came_from[key] = kind, Path(path)
    return tuple(kinds.values())
