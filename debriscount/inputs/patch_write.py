"""patch.toml: a patch as the text of its file."""

from collections.abc import Mapping
from typing import Any

import tomlkit

from .patch import Patch

_REMARKS = {
    "walls": "sides with a wall or skirting",
    "center_mm": "from the patch's top-left corner: x to the right, y down",
    "side_mm": "side of the black square",
    "turned_deg": "how far it lies turned clockwise",
    "edge_mm": "strip along a wall",
    "corner_mm": "square where two walls meet",
    "margin_mm": "ring around the patch",
}


def patch_toml(patch: Patch) -> str:
    """Return a patch as a patch file, with a remark beside what a name leaves open.

    Parameters
    ----------
    patch : Patch
        Custom zones included.

    Returns
    -------
    str
        What `debriscount.inputs.patch_file.read_patch` reads as the same patch.
    """
    size = {"width_mm": patch.width_mm, "height_mm": patch.height_mm}
    markers = [
        {"id": m.id, "center_mm": m.center_mm, "side_mm": m.side_mm}
        | ({"turned_deg": m.turned_deg} if m.turned_deg else {})
        for m in patch.markers
    ]
    widths = {"edge_mm": patch.edge_mm, "corner_mm": patch.corner_mm, "margin_mm": patch.margin_mm}
    zones = _table(widths)
    if patch.custom_zones:
        custom = [{"name": zone.name, "polygon_mm": zone.polygon_mm} for zone in patch.custom_zones]
        zones.add("custom", _tables(custom))
    document = tomlkit.document()
    document.add("patch", _table({"name": patch.name, **size, "walls": patch.walls}))
    document.add("markers", _tables(markers))
    document.add("zones", zones)
    return tomlkit.dumps(document)


def _table(content: Mapping[str, Any], *, remarks: bool = True) -> Any:
    table = tomlkit.table()
    for key, value in content.items():
        table.add(key, _plain(value))
        if remarks and key in _REMARKS:
            table[key].comment(_REMARKS[key])
    return table


def _tables(contents: list[dict[str, Any]]) -> Any:
    """Return a list of tables; the first alone bears the remarks."""
    tables = tomlkit.aot()
    for number, content in enumerate(contents):
        tables.append(_table(content, remarks=number == 0))
    return tables


def _plain(value: Any) -> Any:
    """Return numbers as a person writes them, 600 rather than 600.0."""
    if isinstance(value, tuple):
        return [_plain(part) for part in value]
    return int(value) if isinstance(value, float) and value.is_integer() else value
