"""The measurement as a JSON record that others, and later versions, can read."""

import json
from collections.abc import Mapping
from dataclasses import asdict
from pathlib import Path
from typing import Any

from .. import __version__
from ..errors import InputFileError
from ..figures.records import Amount, BestPickup, KindColor, MeasuredShot, Measurement, PassFigures, ZoneFigures
from ..flags import Flag
from ..geometry.grid import FloorGrid
from ..inputs.lens import CameraLens
from ..inputs.patch import Patch
from ..inputs.text_file import file_text
from ..inputs.toml_guard import line_of_long_number
from ..photo.settings import CameraSettings
from ..printable import printable
from ..scale.agreement import Agreement
from ..scale.statement import weighing_json
from .lookup import base_name, zones_in_order
from .rounding import AREA_DECIMALS, LENGTH_DECIMALS, MASS_DECIMALS, PERCENT_DECIMALS, rounded
from .why_record import further_json, why_json

FORMAT = "debriscount/measurement/1"
#: Far more than a record takes.
_MOST_BYTES = 64_000_000

JsonObject = dict[str, Any]


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
        "patch": patch_json(measurement.patch),
        "grid": grid_json(measurement.grid),
        "kinds": [kind_json(kind) for kind in measurement.kinds],
        "photos": {shot.name: _photo(shot) for shot in measurement.shots},
        "lens": None if measurement.lens is None else _lens(measurement.lens),
        "passes": [_pass(figures, measurement.patch) for figures in measurement.passes],
        "further_pass": further_json(measurement.further),
        "budget": [
            {"source": line.source, "u_percent": rounded(line.u_percent, PERCENT_DECIMALS)}
            for line in measurement.budget
        ],
        "agreement": _agreement(measurement),
        "weighing": _weighing(measurement),
        "warnings": list(measurement.warnings),
        "flags": [_flag(flag) for flag in measurement.flags],
    }


def agreement_json(agreement: Agreement, best: Mapping[str, BestPickup] | None = None) -> JsonObject:
    """Return one run's agreement, and the best of photo and scale by zone, as they stand in a measurement's record."""
    return {
        "photo_percent": rounded(agreement.photo_percent, PERCENT_DECIMALS),
        "photo_u": rounded(agreement.photo_u, PERCENT_DECIMALS),
        "scale_percent": rounded(agreement.scale_percent, PERCENT_DECIMALS),
        "scale_u": rounded(agreement.scale_u, PERCENT_DECIMALS),
        "en": rounded(agreement.en, 4),
        "zeta": rounded(agreement.zeta, 4),
        "verdict": agreement.verdict,
        "sentence": agreement.sentence,
        "causes": [
            {"name": cause.name, "score": rounded(cause.score, 3), "sentence": cause.sentence}
            for cause in agreement.causes
        ],
        "best": {zone: _best(pickup) for zone, pickup in best.items()} if best else None,
    }


def _best(pickup: BestPickup) -> JsonObject:
    return {
        "percent": rounded(pickup.percent, PERCENT_DECIMALS),
        "u_percent": rounded(pickup.u_percent, PERCENT_DECIMALS),
        "interval95": [rounded(end, PERCENT_DECIMALS) for end in pickup.interval95],
    }


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
    path = Path(path)
    text = file_text(path, "record", _MOST_BYTES)
    try:
        record = json.loads(text, parse_constant=_refuse_constant)
    except RecursionError:
        raise InputFileError(f"{path}: is nested too deeply. Give a record.") from None
    except ValueError as error:
        if (line := line_of_long_number(text)) is not None:  # Python's limit of digits
            raise InputFileError(f"{path} line {line}: holds a number of too many digits. Give a record.") from None
        raise InputFileError(f"{path}: is not a JSON file ({error}).") from error
    found = record.get("format") if isinstance(record, dict) else None
    if found != FORMAT:
        other = printable(json.dumps(found), 60)
        raise InputFileError(
            f"{path}: its format is {other}, but only {json.dumps(FORMAT)} can be read here. "
            "Measure the photos again, or use the version of debriscount that wrote the file."
        )
    return dict(record)


def _refuse_constant(name: str) -> None:
    raise ValueError(f"{name} is not a JSON number")


def _flag(flag: Flag) -> JsonObject:
    return {
        "code": flag.code,
        "severity": flag.severity,
        "shot": flag.shot,
        "zone": flag.zone,
        "sentence": flag.sentence,
    }


def _mm(value: float) -> float | None:
    return rounded(value, LENGTH_DECIMALS)


def patch_json(patch: Patch) -> JsonObject:
    """Return the patch in the words and order of patch.toml."""
    return {
        "name": patch.name,
        "width_mm": _mm(patch.width_mm),
        "height_mm": _mm(patch.height_mm),
        "walls": list(patch.walls),
        "markers": [
            {"id": int(m.id), "center_mm": [_mm(c) for c in m.center_mm], "side_mm": _mm(m.side_mm)}
            for m in patch.markers
        ],
        "zones": {
            "edge_mm": _mm(patch.edge_mm),
            "corner_mm": _mm(patch.corner_mm),
            "margin_mm": _mm(patch.margin_mm),
            "custom": [
                {"name": zone.name, "polygon_mm": [[_mm(x), _mm(y)] for x, y in zone.polygon_mm]}
                for zone in patch.custom_zones
            ],
        },
    }


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
    return {"name": kind.name, "color": "#{:02x}{:02x}{:02x}".format(*(int(c) for c in kind.color_srgb))}


def _photo(shot: MeasuredShot) -> JsonObject:
    return {
        "file": base_name(shot.file),
        "sha256": shot.sha256,
        "markers_seen": [int(i) for i in shot.markers_seen],
        "residual_mm": _mm(shot.residual_mm),
        **camera_json(shot.settings),
    }


def camera_json(settings: CameraSettings) -> JsonObject:
    """Return when a photo was taken and how the camera was set; nothing of who, where and with what is known."""
    camera = asdict(settings)
    return {
        "taken": camera.pop("taken"),
        "camera": {key: rounded(v, 9) if isinstance(v, float) else v for key, v in camera.items()},
    }


def _pass(figures: PassFigures, patch: Patch) -> JsonObject:
    return {
        "pass": int(figures.number),
        "zones": _zones(figures.zones, patch),
        "kinds": {kind: {"zones": _zones(zones, patch)} for kind, zones in figures.kinds.items()},
        **why_json(figures, patch),
    }


def _zones(zones: dict[str, ZoneFigures], patch: Patch) -> JsonObject:
    return {name: _zone(figures) for name, figures in zones_in_order(zones, patch).items()}


def _zone(figures: ZoneFigures) -> JsonObject:
    ends = None if figures.interval95 is None else [rounded(end, PERCENT_DECIMALS) for end in figures.interval95]
    return {
        "pickup_percent": rounded(figures.pickup_percent, PERCENT_DECIMALS),
        "more_than_percent": rounded(figures.more_than_percent, PERCENT_DECIMALS),
        "detection_limit_mm2": rounded(figures.limit_mm2, AREA_DECIMALS),
        "interval95": None if ends is None or None in ends else ends,
        "gone_percent": rounded(figures.gone_percent, PERCENT_DECIMALS),
        "trust": figures.trust,
        "why": figures.why,
        "before": amount_json(figures.before),
        "after": amount_json(figures.after),
    }


def amount_json(amount: Amount) -> JsonObject:
    """Return an amount of debris."""
    return {
        "area_mm2": rounded(amount.area_mm2, AREA_DECIMALS),
        "grains": amount.told_grains,
        "grains_interval95": None if amount.grains95 is None else [int(end) for end in amount.grains95],
        "mass_g": rounded(amount.mass_g, MASS_DECIMALS),
    }
