"""Kinds of debris as a table for people."""

from collections.abc import Mapping
from pathlib import Path

from ..columns import aligned
from ..errors import DebriscountError
from ..inputs.debris_file import read_debris
from ..inputs.debris_names import shipped_debris
from .rounding import UNKNOWN


def kinds_text(files: Mapping[str, Path]) -> str:
    """Return a line for each kind: its name, colour, sizes and mass, and where its file comes from."""
    rows = [["name", "colour", "size, mm", "mg/mm²", "file"]]
    shipped = shipped_debris()
    for name, path in files.items():
        where = "shipped" if path.parent == shipped else "campaign"
        try:
            kind = read_debris(path)
        except DebriscountError as error:
            rows.append([name, "", "", "", str(error)])
            continue
        mass = UNKNOWN if kind.area_mass_mg_per_mm2 is None else f"{kind.area_mass_mg_per_mm2:g}"
        colour = "#{:02x}{:02x}{:02x}".format(*kind.color_srgb)
        rows.append([name, colour, "{:g} to {:g}".format(*kind.size_mm), mass, where])
    return "\n".join(aligned(rows)) + "\n"
