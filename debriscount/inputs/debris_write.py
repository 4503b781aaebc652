"""debris.toml: a kind of debris as the text of its file."""

from dataclasses import asdict
from typing import Any

from .debris import DebrisKind
from .toml_write import toml_text

_REMARKS = {
    "color": "roughly, in daylight",
    "size_mm": "5th and 95th percentile of grain diameter",
    "area_mass_mg_per_mm2": "mass behind a mm² seen from above",
    "crowding": "0 for a single layer, 1 for random overlap",
    "u_area_mass_mg_per_mm2": "standard uncertainties",
    "dof_area_mass": "degrees of freedom of it; many where none are given",
}
#: No figure of a kind is known better.
_DIGITS = 7


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
    content: dict[str, Any] = {
        "debris": {
            "name": kind.name,
            "color": "#{:02x}{:02x}{:02x}".format(*kind.color_srgb),
            "size_mm": kind.size_mm,
            "grain_mass_mg": kind.grain_mass_mg,
            "area_mass_mg_per_mm2": kind.area_mass_mg_per_mm2,
            "crowding": kind.crowding,
        }
    }
    if kind.calibration is not None:
        told = asdict(kind.calibration)
        portions = list(told.pop("portions"))
        content["calibration"] = {**told, "remark": told["remark"] or None, "portions": portions}
    return toml_text(content, _REMARKS, head=remark, digits=_DIGITS)
