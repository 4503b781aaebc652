"""patch.toml: a patch as the text of its file."""

from typing import Any

from .patch import Patch
from .toml_write import toml_text

_REMARKS = {
    "walls": "sides with a wall or skirting",
    "rendered": "the pictures are renderings, not photographs: leave this line out for photos of your own",
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
        Custom zones and what is no floor included.

    Returns
    -------
    str
        What `debriscount.inputs.patch_file.read_patch` reads as the same patch.
    """
    size = {"width_mm": patch.width_mm, "height_mm": patch.height_mm}
    zones = {"edge_mm": patch.edge_mm, "corner_mm": patch.corner_mm, "margin_mm": patch.margin_mm}
    custom = [{"name": zone.name, "polygon_mm": zone.polygon_mm} for zone in patch.custom_zones]
    markers = [
        {"id": m.id, "center_mm": m.center_mm, "side_mm": m.side_mm, "turned_deg": m.turned_deg or None}
        for m in patch.markers
    ]
    content: dict[str, Any] = {
        "patch": {"name": patch.name, **size, "walls": patch.walls, "rendered": patch.rendered or None},
        "markers": markers,
        "zones": {**zones, "custom": custom or None},
    }
    if patch.not_floor:
        content["not_floor"] = [{"name": thing.name, "polygon_mm": thing.polygon_mm} for thing in patch.not_floor]
    return toml_text(content, _REMARKS)
