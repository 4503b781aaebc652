"""patch.toml: read, checked, and handed on as a ``Patch``."""

from itertools import combinations
from os import PathLike
from pathlib import Path
from typing import Annotated

import numpy as np
from pydantic import Field

from .faults import Name, Number, Table, closest, shown, validated
from .patch import WALL_SIDES, ZONES, CustomZone, Marker, NotFloor, Patch
from .toml_text import TomlText, read_toml

LEAST_MARKERS = 3
#: Zones that every patch has.
_NAMES_TAKEN = ("patch", *ZONES)

_MOST_MM = 100_000
_Side = Annotated[Number, Field(gt=0, le=_MOST_MM)]
_Width = Annotated[Number, Field(ge=0, le=_MOST_MM)]
_Along = Annotated[Number, Field(ge=-_MOST_MM, le=_MOST_MM)]
_Place = tuple[_Along, _Along]


class _PatchTable(Table):
    name: Name = Field(description="Give the patch a name.")
    width_mm: _Side = Field(description="Give the patch's width in millimetres.")
    height_mm: _Side = Field(description="Give the patch's height in millimetres.")
    walls: tuple[str, ...] = Field(
        max_length=16, description='List the sides that have a wall, such as ["top", "left"], or [] for none.'
    )
    rendered: bool = Field(
        default=False,
        strict=True,
        description="Say true if the pictures are renderings, which all that is made of them then says.",
    )


class _MarkerTable(Table):
    id: Annotated[int, Field(strict=True, ge=0, le=49)] = Field(
        description="Give the number of the printed square (dictionary DICT_4X4_50 has 0 to 49)."
    )
    center_mm: _Place = Field(description="Give x and y of the square's centre in millimetres.")
    side_mm: _Side = Field(description="Give the side of the black square in millimetres.")
    turned_deg: Annotated[Number, Field(ge=-360, le=360)] = Field(
        default=0.0, description="Give how far the square lies turned clockwise, in degrees, or leave it out."
    )


class _CustomTable(Table):
    name: Name = Field(description="Give the zone a name.")
    polygon_mm: tuple[_Place, ...] = Field(
        max_length=1000, description="Give three points or more, each [x, y] in millimetres."
    )


class _ZonesTable(Table):
    # The usual widths are our own choice, none of a standard's: see "words" in the manual.
    edge_mm: _Width = Field(default=30.0, description="Give the width of the strip along a wall in millimetres.")
    corner_mm: _Width = Field(
        default=60.0, description="Give the side of the square where two walls meet in millimetres."
    )
    margin_mm: _Width = Field(
        default=60.0, description="Give the width of the ring around the patch in millimetres, or 0 for none."
    )
    custom: tuple[_CustomTable, ...] = Field(
        default=(), max_length=100, description="Each zone of your own begins with [[zones.custom]]."
    )


class _NotFloorTable(Table):
    name: Name = Field(description='Give the thing a name, such as "cupboard".')
    polygon_mm: tuple[_Place, ...] = Field(
        max_length=1000, description="Give three points or more, each [x, y] in millimetres."
    )


class PatchFile(Table):
    """patch.toml as it is written."""

    patch: _PatchTable = Field(description="Describe the patch under [patch].")
    markers: tuple[_MarkerTable, ...] = Field(
        max_length=1000, description="Each printed square begins with [[markers]]."
    )
    zones: _ZonesTable = Field(default_factory=_ZonesTable, description="Give the zones' widths under [zones].")
    not_floor: tuple[_NotFloorTable, ...] = Field(
        default=(), max_length=100, description="Each thing that hides floor in all shots begins with [[not_floor]]."
    )


def read_patch(path: str | PathLike[str]) -> Patch:
    """Read a patch file.

    Parameters
    ----------
    path : path-like
        TOML file: ``[patch]``, three or more ``[[markers]]``, and ``[zones]`` unless the usual
        widths serve (edge 30 mm, corner 60 mm, margin 60 mm).

    Returns
    -------
    Patch

    Raises
    ------
    InputFileError
        With file, line, key and value, for whatever is wrong.

    Examples
    --------
    >>> patch = read_patch("patch.toml")
    >>> patch.width_mm, patch.height_mm, patch.walls
    (600.0, 400.0, ('top', 'left'))
    """
    toml = read_toml(Path(path), "patch file")
    content = validated(PatchFile, toml)
    zones = content.zones
    patch = Patch(
        name=content.patch.name,
        width_mm=content.patch.width_mm,
        height_mm=content.patch.height_mm,
        walls=content.patch.walls,
        markers=tuple(Marker(m.id, m.center_mm, m.side_mm, m.turned_deg) for m in content.markers),
        edge_mm=zones.edge_mm,
        corner_mm=zones.corner_mm,
        margin_mm=zones.margin_mm,
        custom_zones=tuple(CustomZone(z.name, z.polygon_mm) for z in zones.custom),
        rendered=content.patch.rendered,
        not_floor=tuple(NotFloor(thing.name, thing.polygon_mm) for thing in content.not_floor),
    )
    for check in (_check_walls, _check_zone_widths, _check_not_floor, _check_markers, _check_custom_zones):
        check(patch, toml)
    return patch


def _check_walls(patch: Patch, toml: TomlText) -> None:
    for number, wall in enumerate(patch.walls):
        place = ("patch", "walls", number)
        if wall not in WALL_SIDES:
            raise toml.error(place, f"[patch] walls has no side {shown(wall)}. {closest(wall, WALL_SIDES)}")
        if wall in patch.walls[:number]:
            raise toml.error(place, f'[patch] walls names "{wall}" twice. Name each wall once.')


def _check_zone_widths(patch: Patch, toml: TomlText) -> None:
    """Refuse an edge or corner that leaves no open floor; without their walls their widths say nothing."""
    names = patch.zone_names()
    depth_mm = {
        "width": patch.width_mm if {"left", "right"} & set(patch.walls) else np.inf,
        "height": patch.height_mm if {"top", "bottom"} & set(patch.walls) else np.inf,
    }
    across = min(depth_mm, key=depth_mm.__getitem__)
    for zone, width_mm in (("edge", patch.edge_mm), ("corner", patch.corner_mm)):
        if zone in names and width_mm >= depth_mm[across]:
            raise toml.error(
                ("zones", f"{zone}_mm") if ("zones",) in toml.lines else ("patch",),
                f"[zones] {zone}_mm must be less than the patch's {across} of {depth_mm[across]:g} mm,"
                f" got {width_mm:g}. Give a narrower {zone}.",
            )


def _check_markers(patch: Patch, toml: TomlText) -> None:
    markers = patch.markers
    for (first, a), (second, b) in combinations(enumerate(markers), 2):
        if a.id == b.id:
            line = toml.line_of(("markers", first, "id"))
            raise toml.error(
                ("markers", second, "id"),
                f"[[markers]] id {b.id} stands on line {line} already. Give each marker an id of its own.",
            )
        if max(abs(p - q) for p, q in zip(a.center_mm, b.center_mm, strict=True)) < (a.side_mm + b.side_mm) / 2:
            raise toml.error(
                ("markers", second, "center_mm"),
                f"markers {a.id} and {b.id} overlap. Measure their centres again.",
            )
    for number, marker in enumerate(markers):
        _check_outside(patch, toml, number, marker)
    if len(markers) < LEAST_MARKERS:
        raise toml.error(
            ("markers",),
            f"the file lists {len(markers)} of at least {LEAST_MARKERS} markers."
            " Lay three or more around the patch and list each under [[markers]].",
        )
    centers_mm = np.array([marker.center_mm for marker in markers])
    centers_mm -= centers_mm.mean(axis=0)
    across_mm = np.ptp(centers_mm @ np.linalg.svd(centers_mm)[2][1])
    # A row of squares fixes the floor along itself only; half a side off the line is still a row.
    if across_mm < max(marker.side_mm for marker in markers) / 2:
        raise toml.error(
            ("markers",),
            "all markers lie on one line, which does not fix the floor's tilt."
            " Lay at least one to the side, and measure its centre.",
        )


def _check_outside(patch: Patch, toml: TomlText, number: int, marker: Marker) -> None:
    """Refuse a square that hides floor of the patch; where the file says that there is none, it hides nothing."""
    (x, y), half = marker.center_mm, float(np.ptp(marker.corners_mm()[:, 0])) / 2
    if not (-half < x < patch.width_mm + half and -half < y < patch.height_mm + half):
        return
    corners = marker.corners_mm()
    if patch.is_floor(*np.vstack([corners, (corners + np.roll(corners, -1, axis=0)) / 2]).T).any():
        raise toml.error(
            ("markers", number, "center_mm"),
            f"[[markers]] center_mm puts marker {marker.id} at [{x:g}, {y:g}], where its"
            f" {marker.side_mm:g} mm square hides floor of the patch."
            " Lay it outside, or measure its centre again."
            " In a room, [[not_floor]] may say that its paper is no floor.",
        )


def _check_not_floor(patch: Patch, toml: TomlText) -> None:
    for number, thing in enumerate(patch.not_floor):
        _check_polygon(thing, toml, ("not_floor", number, "polygon_mm"), "[[not_floor]]")
    x, y = ((np.arange(100) + 0.5) / 100 * size for size in (patch.width_mm, patch.height_mm))
    if patch.not_floor and not patch.inside(x[None, :], y[:, None]).any():
        raise toml.error(("not_floor",), "[[not_floor]] leaves no floor of the patch. Give smaller polygons.")


def _check_custom_zones(patch: Patch, toml: TomlText) -> None:
    names = [zone.name for zone in patch.custom_zones]
    for number, zone in enumerate(patch.custom_zones):
        place = ("zones", "custom", number)
        if zone.name.casefold() in _NAMES_TAKEN:
            raise toml.error((*place, "name"), f'[[zones.custom]] name "{zone.name}" is taken. Choose another.')
        if zone.name in names[:number]:
            line = toml.line_of(("zones", "custom", names.index(zone.name), "name"))
            raise toml.error(
                (*place, "name"),
                f'[[zones.custom]] name "{zone.name}" stands on line {line} already. Choose another.',
            )
        _check_polygon(zone, toml, (*place, "polygon_mm"), "[[zones.custom]]")


def _check_polygon(named: CustomZone | NotFloor, toml: TomlText, place: tuple[str | int, ...], table: str) -> None:
    if len(named.polygon_mm) < 3:
        raise toml.error(
            place,
            f'{table} polygon_mm of "{named.name}" must have at least 3 points,'
            f" got {len(named.polygon_mm)}. Give each corner as [x, y] in millimetres.",
        )
    x, y = np.array(named.polygon_mm).T
    if abs(np.dot(x, np.roll(y, 1)) - np.dot(y, np.roll(x, 1))) / 2 < 1:
        raise toml.error(
            place,
            f'{table} polygon_mm of "{named.name}" encloses less than 1 mm².'
            " Give its corners in the order in which they follow each other.",
        )
