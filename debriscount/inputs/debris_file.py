"""debris.toml: read, checked, and handed on as a ``DebrisKind``."""

from collections.abc import Sequence
from os import PathLike
from pathlib import Path
from typing import Annotated

from pydantic import Field

from ..errors import InputFileError
from .debris import DebrisKind
from .faults import Name, Number, Table, validated
from .toml_text import read_toml

_Mass = Annotated[Number, Field(gt=0)]


class _DebrisTable(Table):
    name: Name = Field(description="Give the debris a name.")
    color: str = Field(pattern="^#[0-9a-fA-F]{6}$", description='Write the colour as "#rrggbb", such as "#a8482c".')
    size_mm: tuple[_Mass, _Mass] = Field(
        description="Give the 5th and 95th percentile of grain diameter in millimetres, the smaller first."
    )
    grain_mass_mg: _Mass | None = Field(
        default=None, description="Give the mass of one grain in milligrams, or leave it out."
    )
    area_mass_mg_per_mm2: _Mass | None = Field(
        default=None,
        description="Give the mass in milligrams behind one mm² seen from above, or leave it out.",
    )
    crowding: Annotated[Number, Field(ge=0)] = Field(
        default=0.0, description="Give 0 for a single layer, 1 for random overlap, or leave it out."
    )


class _DebrisFile(Table):
    debris: _DebrisTable = Field(description="Describe the debris under [debris].")


def read_debris(path: str | PathLike[str]) -> DebrisKind:
    """Read a debris file.

    Parameters
    ----------
    path : path-like
        TOML file with one table ``[debris]``.

    Returns
    -------
    DebrisKind

    Raises
    ------
    InputFileError
        With file, line, key and value, for whatever is wrong.
    """
    toml = read_toml(Path(path), "debris file")
    table = validated(_DebrisFile, toml).debris
    small, large = table.size_mm
    if large < small:
        raise toml.error(
            ("debris", "size_mm"),
            f"[debris] size_mm must ascend, got [{small:g}, {large:g}]. Give the smaller first.",
        )
    red, green, blue = bytes.fromhex(table.color[1:])
    return DebrisKind(
        name=table.name,
        color_srgb=(red, green, blue),
        size_mm=table.size_mm,
        grain_mass_mg=table.grain_mass_mg,
        area_mass_mg_per_mm2=table.area_mass_mg_per_mm2,
        crowding=table.crowding,
    )


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
