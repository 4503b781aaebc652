"""What counting single photos leaves behind: record, tables and pictures, written all of them or none."""

import re
from collections.abc import Iterator, Mapping, Sequence
from functools import partial
from pathlib import Path, PurePath

import numpy as np
from numpy.typing import NDArray

from .. import __version__
from ..columns import TERMINAL_WIDTH, aligned, csv_text, header_mark, wrapped
from ..inputs.patch import ZONES
from ..pickup.records import Amount
from ..run.records import Counted
from ..serialize import AREA_DECIMALS, MASS_DECIMALS, JsonObject, rounded
from .folder import RECORD_MARK, ResultFiles, picture_bytes, record_bytes, write_files
from .lookup import base_name, zones_in_order
from .palette import floor_colors
from .pictures import FloorPicture, draw_picture
from .record import amount_json, camera_json, grid_json, joined_json, kind_json, patch_json
from .rounding import UNKNOWN, amount_text, area_text
from .tables import grain_lines

FORMAT = "debriscount/count/1"
ZONES_HEADER = ("photo", "file", "kind", "zone", "area_mm2", "grains", "mass_g", "grains_low95", "grains_high95")
GRAINS_HEADER = ("photo", "file", "kind", "x_mm", "y_mm", "area_mm2", "diameter_mm", "zone")

MARKS = {
    "count.json": RECORD_MARK,
    "zones.csv": header_mark(ZONES_HEADER),
    "grains.csv": header_mark(GRAINS_HEADER),
}
_PICTURE = re.compile(r"overlay-.+\.jpg")


def count_json(counts: Sequence[Counted]) -> JsonObject:
    """Return counted photos as plain JSON values.

    Parameters
    ----------
    counts : sequence of Counted
        The photos.

    Returns
    -------
    dict
        The record of format "debriscount/count/1". Millimetres, square millimetres and grams; a figure that is unknown
        is None.
    """
    return {"format": FORMAT, "version": __version__, "photos": [_photo(counted) for counted in counts]}


def count_zones_csv(counts: Sequence[Counted]) -> str:
    """Return one line a photo, kind and zone; photos are numbered from 1, an unknown figure is empty."""
    rows = [
        (number, _name(counted), kind, zone, *_cells(amount))
        for number, counted in enumerate(counts, start=1)
        for kind, zones in [("all", counted.zones), *counted.by_kind.items()]
        for zone, amount in _in_order(zones, counted).items()
    ]
    return csv_text([ZONES_HEADER, *rows])


def count_grains_csv(counts: Sequence[Counted]) -> str:
    """Return one line a grain, photo by photo; photos are numbered from 1."""
    lines = [csv_text([GRAINS_HEADER]).rstrip("\n")]
    for number, counted in enumerate(counts, start=1):
        kinds = [kind.name for kind in counted.kinds]
        zones = (*ZONES, "outside") if counted.patch is not None else ("patch",)
        lines.extend(grain_lines([number, _name(counted)], kinds, counted.grains, zones))
    return "\n".join(lines) + "\n"


def count_text(counts: Sequence[Counted], width: int = TERMINAL_WIDTH) -> str:
    """Return a table a photo for the terminal, at most ``width`` columns wide, with its warnings below it."""
    blocks = []
    for counted in counts:
        kinds = ", ".join(kind.name for kind in counted.kinds) or "none"
        heading = wrapped(f"{_name(counted)}: {_place(counted)}; debris: {kinds}", "  ", width)
        warnings = [wrapped(f"Warning: {warning}", "  ", width) for warning in counted.warnings]
        blocks.append("\n".join([heading, *aligned(list(_rows(counted)), width), *warnings]))
    return "\n\n".join(blocks) + "\n"


def draw_count(counted: Counted) -> NDArray[np.uint8]:
    """Draw what was counted in a photo: sRGB of shape (H, W, 3), as `draw_overlay` does for a shot of a run."""
    patch = counted.patch
    names = () if patch is None else (*patch.zone_names(), *(zone.name for zone in patch.custom_zones))
    return draw_picture(
        FloorPicture(
            name=_name(counted),
            floor_view=counted.floor_view,
            kind_map=counted.kind_map,
            grains=counted.grains,
            grid=counted.grid,
            kinds=counted.kinds,
            patch=patch,
            floor=floor_colors(counted.floor_view, counted.kind_map),
            zone_texts={name: [name] for name in names},
            title=_name(counted) if patch is None else f"{_name(counted)} \N{EN DASH} {patch.title}",
            figures=_figures(counted),
            note=f"{_place(counted)}, {counted.grid.mm_per_px:.3g} mm per pixel of the floor view, "
            "measured by debriscount",
        )
    )


def write_counts(counts: Sequence[Counted], out_dir: str | Path, *, overwrite: bool = False) -> list[Path]:
    """Write record, tables and pictures of counted photos into a folder.

    Parameters
    ----------
    counts : sequence of Counted
        The photos.
    out_dir : str or Path
        The folder; made, with those above it, if it is not there. An earlier count in it is replaced; all other files
        stay.
    overwrite : bool
        Whether a count of other photos may be replaced too.

    Returns
    -------
    list of Path
        count.json, zones.csv, grains.csv and one picture a photo.

    Raises
    ------
    OutputError
        The folder cannot be made or written, holds a measurement, a count of other photos, or a file of the same
        name that is no result of debriscount. Nothing has changed then.
    """
    contents = {
        "count.json": lambda: record_bytes(count_json(counts)),
        "zones.csv": lambda: count_zones_csv(counts).encode("utf-8", "replace"),
        "grains.csv": lambda: count_grains_csv(counts).encode("utf-8", "replace"),
    }
    for name, counted in zip(_picture_names(counts), counts, strict=True):
        contents[name] = partial(_picture, counted)
    photos = frozenset(sha for counted in counts for sha in (counted.sha256, counted.blank_sha256) if sha)
    return write_files(ResultFiles(contents, MARKS, _PICTURE, photos), out_dir, overwrite=overwrite)


def _photo(counted: Counted) -> JsonObject:
    blank = {
        "file": base_name(counted.blank_file),
        "sha256": counted.blank_sha256,
        **camera_json(counted.blank_settings),
        **joined_json(counted.blank_joined),
    }
    return {
        "file": base_name(counted.file),
        "sha256": counted.sha256,
        **camera_json(counted.settings),
        **joined_json(counted.joined),
        "blank": blank if counted.blank_sha256 else None,
        "patch": None if counted.patch is None else patch_json(counted.patch),
        "mm_per_px": counted.mm_per_px,
        "region": None if counted.region is None else list(counted.region),
        "grid": grid_json(counted.grid),
        "zones": _zones(counted.zones, counted),
        "kinds": {
            kind.name: {"color": kind_json(kind)["color"], "zones": _zones(counted.by_kind[kind.name], counted)}
            for kind in counted.kinds
        },
        "warnings": list(counted.warnings),
    }


def _zones(zones: Mapping[str, Amount], counted: Counted) -> JsonObject:
    return {name: amount_json(amount) for name, amount in _in_order(zones, counted).items()}


def _in_order(zones: Mapping[str, Amount], counted: Counted) -> Mapping[str, Amount]:
    return zones if counted.patch is None else zones_in_order(zones, counted.patch)


def _cells(amount: Amount) -> tuple[object, ...]:
    return (
        rounded(amount.area_mm2, AREA_DECIMALS),
        amount.told_grains,
        rounded(amount.mass_g, MASS_DECIMALS),
        *(amount.grains95 or (None, None)),
    )


def _name(counted: Counted) -> str:
    return base_name(counted.file) or "photo"


def _place(counted: Counted) -> str:
    if counted.patch is not None:
        return f"{counted.patch.name}, {counted.patch.width_mm:g} x {counted.patch.height_mm:g} mm"
    x, y, width, height = counted.region or (0, 0, 0, 0)
    return f"region {x},{y},{width},{height} at {counted.mm_per_px:g} mm per pixel"


def _rows(counted: Counted) -> Iterator[list[str]]:
    tables = {"": counted.zones} | (counted.by_kind if len(counted.by_kind) > 1 else {})
    amounts = [amount for zones in tables.values() for amount in zones.values()]
    with_mass = any(amount.mass_g is not None for amount in amounts)
    unsure = ["(95 %)", *filter(None, map(_interval, amounts))]
    room = max(map(len, unsure)) if len(unsure) > 1 else 0

    def beside(grains: str, interval: str) -> str:
        """The grains with their interval to the right, such that the grains stand below one another."""
        return f"{grains} {interval:<{room}}" if room else grains

    yield ["zone", "area mm²", beside("grains", unsure[0]), *(["g"] if with_mass else [])]
    for kind, zones in tables.items():
        if kind:
            yield [kind]
        for zone, amount in _in_order(zones, counted).items():
            grains = beside(amount_text(amount.told_grains), _interval(amount))
            mass = [amount_text(amount.mass_g, 2)] if with_mass else []
            yield [f"{'  ' if kind else ''}{zone}", area_text(amount.area_mm2), grains, *mass]


def _interval(amount: Amount) -> str:
    """What the number of grains may be, as "(26 to 29)": a dash where it is unknown, nothing where it is sure."""
    if amount.grains95 is None:
        return f"({UNKNOWN})"
    low, high = amount.grains95
    return f"({amount_text(low)} to {amount_text(high)})" if low < high else ""


def _figures(counted: Counted) -> str:
    amount = counted.zones["patch"]
    mass = "" if amount.mass_g is None else f", {amount_text(amount.mass_g, 2)} g"
    where = "patch" if counted.patch is not None else "region"
    return f"Debris in the {where}: {area_text(amount.area_mm2)} mm², {amount_text(amount.grains)} grains{mass}"


def _picture_names(counts: Sequence[Counted]) -> list[str]:
    """A name for every photo's picture, unlike the others even where capitals make no difference."""
    names: list[str] = []
    for counted in counts:
        stem = PurePath(_name(counted)).stem
        tries = (f"overlay-{stem}{f'-{n}' if n > 1 else ''}.jpg" for n in range(1, len(counts) + 1))
        names.append(next(name for name in tries if name.casefold() not in {used.casefold() for used in names}))
    return names


def _picture(counted: Counted) -> bytes:
    return picture_bytes(draw_count(counted))
