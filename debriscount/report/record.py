"""The measurement as a JSON record that others, and later versions, can read."""

from collections.abc import Mapping
from dataclasses import asdict
from pathlib import Path
from typing import Any

from .. import __version__
from ..inputs.lens import CameraLens
from ..inputs.patch import CustomZone, Marker, NotFloor, Patch
from ..inputs.record_file import MEASUREMENT, read_json
from ..made_with import made_with
from ..mosaic.records import Joined
from ..photo.settings import CameraSettings
from ..pickup.records import Amount, PassFigures, ZoneFigures
from ..registration.grid import FloorGrid
from ..run.records import BestPickup, KindColor, MeasuredShot, Measurement
from ..scale.agreement import Agreement
from ..serialize import (
    JsonObject,
    picked,
    plain,
    rounded,
)
from .lookup import base_name, zones_in_order
from .palette import hex_color
from .verdict import verdict_text
from .weighing import weighing_json
from .why_record import why_json

FORMAT = MEASUREMENT


def measurement_json(measurement: Measurement) -> JsonObject:
    """Return the measurement as plain JSON values.

    Parameters
    ----------
    measurement : Measurement
        The run.

    Returns
    -------
    dict
        The record of format "debriscount/measurement/1". Millimetres, square millimetres, grams
        and percent; a figure that is unknown or not finite is None.
    """
    return {
        "format": FORMAT,
        "version": __version__,
        "made_with": made_with(),
        "verdict": verdict_text(measurement),
        "patch": patch_json(measurement.patch),
        "grid": grid_json(measurement.grid),
        "kinds": [kind_json(kind) for kind in measurement.kinds],
        "photos": {shot.name: _photo(shot) for shot in measurement.shots},
        "lens": None if measurement.lens is None else _lens(measurement.lens),
        "passes": [_pass(figures, measurement) for figures in measurement.passes],
        "further_pass": plain(measurement.left.further),
        "budget": plain(measurement.budget),
        "agreement": _agreement(measurement),
        "weighing": _weighing(measurement),
        "inputs": _inputs(measurement),
        "warnings": list(measurement.warnings),
        "flags": [picked(flag, "code severity shot zone sentence") for flag in measurement.flags],
    }


def _inputs(measurement: Measurement) -> JsonObject:
    """All that the photos and the patch were measured with, not rounded, so that it can be done again."""
    scale, lens, given = measurement.scale, measurement.lens, measurement.given
    return {
        "debris": [asdict(kind) for kind in given.debris],
        "lens": None if lens is None else asdict(lens),
        "weighing": None if scale is None else {**asdict(scale.weighing), "file": base_name(scale.weighing.file)},
        "allow_growth": given.allow_growth,
    }


def agreement_json(agreement: Agreement, best: Mapping[str, BestPickup] | None = None) -> JsonObject:
    """Return one run's agreement, and the best of photo and scale by zone, as they stand in a measurement's record."""
    return {**plain(agreement), "best": plain(best) if best else None}


def _lens(lens: CameraLens) -> JsonObject:
    return {
        "name": lens.name,
        "size_px": list(lens.size_px),
        "focal_px": list(lens.focal_px),
        "center_px": list(lens.center_px),
        "radial": list(lens.radial),
        "tangential": list(lens.tangential),
    }


def _agreement(measurement: Measurement) -> JsonObject | None:
    scale = measurement.scale
    return None if scale is None or scale.agreement is None else agreement_json(scale.agreement, scale.best)


def _weighing(measurement: Measurement) -> JsonObject | None:
    scale = measurement.scale
    return None if scale is None else weighing_json(scale.weighing, scale.weighed)


def read_record(path: str | Path) -> JsonObject:
    """Read a record that ``measurement_json`` made.

    Parameters
    ----------
    path : str or Path
        The file, usually ``measurement.json``.

    Returns
    -------
    dict
        The record, equal to what was written.

    Raises
    ------
    InputFileError
        The file cannot be read, is no JSON object, or is of an unknown format.
    """
    cure = "Measure the photos again, or use the version of debriscount that wrote the file."
    return read_json(Path(path), (FORMAT,), cure)


def patch_json(patch: Patch) -> JsonObject:
    """Return the patch in the words and order of patch.toml."""
    zones = {**picked(patch, "edge_mm corner_mm margin_mm"), "custom": plain(patch.custom_zones)}
    markers = [
        {key: value for key, value in plain(marker).items() if value or key != "turned_deg"} for marker in patch.markers
    ]
    rendered = {"rendered": True} if patch.rendered else {}
    no_floor = {"not_floor": plain(patch.not_floor)} if patch.not_floor else {}
    named = picked(patch, "name width_mm height_mm walls")
    return {**named, **rendered, "markers": markers, "zones": zones, **no_floor}


def patch_of(found: Mapping[str, Any]) -> Patch:
    """Return the patch that `patch_json` put into a record.

    Raises
    ------
    KeyError, TypeError, ValueError
        It is not whole.
    """
    zones = found["zones"]
    return Patch(
        name=str(found["name"]),
        width_mm=float(found["width_mm"]),
        height_mm=float(found["height_mm"]),
        walls=tuple(map(str, found["walls"])),
        markers=tuple(
            Marker(
                int(one["id"]),
                (float(one["center_mm"][0]), float(one["center_mm"][1])),
                float(one["side_mm"]),
                float(one.get("turned_deg", 0)),
            )
            for one in found["markers"]
        ),
        edge_mm=float(zones["edge_mm"]),
        corner_mm=float(zones["corner_mm"]),
        margin_mm=float(zones["margin_mm"]),
        custom_zones=tuple(CustomZone(str(zone["name"]), _polygon(zone)) for zone in zones.get("custom", ())),
        rendered=bool(found.get("rendered", False)),
        not_floor=tuple(NotFloor(str(thing["name"]), _polygon(thing)) for thing in found.get("not_floor", ())),
    )


def _polygon(found: Mapping[str, Any]) -> tuple[tuple[float, float], ...]:
    return tuple((float(x), float(y)) for x, y in found["polygon_mm"])


def grid_json(grid: FloorGrid) -> JsonObject:
    """Return the raster of the floor view."""
    return {
        "x0_mm": rounded(grid.x0_mm, 6),
        "y0_mm": rounded(grid.y0_mm, 6),
        "mm_per_px": rounded(grid.mm_per_px, 9),  # 4000 px away still right to 0.01 µm
        "width_px": int(grid.width_px),
        "height_px": int(grid.height_px),
    }


def kind_json(kind: KindColor) -> JsonObject:
    """Return a kind's name and colour."""
    return {"name": kind.name, "color": hex_color(kind.color_srgb)}


def _photo(shot: MeasuredShot) -> JsonObject:
    return {
        "file": base_name(shot.file),
        "sha256": shot.sha256,
        "markers_seen": [int(i) for i in shot.markers_seen],
        "residual_mm": plain(shot.residual_mm, "residual_mm"),
        **camera_json(shot.settings),
        **joined_json(shot.joined),
    }


def joined_json(joined: Joined | None) -> JsonObject:
    """The photos that a shot was joined of, and how they fit, as ``joined``; nothing of a shot of one photo."""
    if joined is None:
        return {}
    photos = [{**picked(part, "file sha256 markers_seen share_percent")} for part in joined.parts]
    unseen = plain(100 * joined.unseen, "unseen_percent")
    fit = {"ties": joined.ties, "apart_mm": plain(joined.apart_mm, "apart_mm"), "unseen_percent": unseen}
    return {"joined": {"photos": photos, **fit}}


def camera_json(settings: CameraSettings) -> JsonObject:
    """Return when a photo was taken and how the camera was set; nothing of who, where and with what is known."""
    camera = asdict(settings)
    return {
        "taken": camera.pop("taken"),
        "camera": {key: rounded(v, 9) if isinstance(v, float) else v for key, v in camera.items()},
    }


def _pass(figures: PassFigures, measurement: Measurement) -> JsonObject:
    patch, left = measurement.patch, measurement.left
    return {
        "pass": int(figures.number),
        "zones": _zones(figures.zones, patch),
        "kinds": {kind: {"zones": _zones(zones, patch)} for kind, zones in figures.kinds.items()},
        **why_json(left.why(figures.number), left.step(figures.number), patch),
    }


def _zones(zones: dict[str, ZoneFigures], patch: Patch) -> JsonObject:
    return {name: _zone(figures) for name, figures in zones_in_order(zones, patch).items()}


def _zone(figures: ZoneFigures) -> JsonObject:
    return {
        **picked(
            figures,
            "pickup_percent more_than_percent detection_limit_mm2=limit_mm2 interval95 gone_percent trust why",
        ),
        "before": amount_json(figures.before),
        "after": amount_json(figures.after),
    }


def amount_json(amount: Amount) -> JsonObject:
    """Return an amount of debris."""
    return picked(amount, "area_mm2 grains=told_grains grains_interval95=grains95 mass_g")
