"""Refuse a scene that cannot be: one line that names the field, its value and what to do."""

import math
from typing import Any

from ..errors import SceneError
from ..inputs.patch import WALL_SIDES, Patch
from .spec import FLOORS, PATHS, SHAPES, Cleaning, Polygon, Portion, SceneSpec

#: Field, least and most; both ends are allowed.
_RANGES: dict[str, dict[str, tuple[float, float]]] = {
    "floor": {"contrast": (0, 3), "unit_mm": (0.1, 5000), "gloss": (0, 2), "debris_specks": (0, 1)},
    "scatter": {
        "clumps": (0, 1000),
        "clumped_share": (0, 1),
        "clump_mm": (0.1, 1000),
        "wall_share": (0, 1),
        "wall_mm": (0.1, 1000),
    },
    "passes": {
        "heading_deg": (-360, 360),
        "pitch_mm": (1, 10_000),
        "width_mm": (0, 10_000),
        "offset_mm": (-10_000, 10_000),
        "pickup": (0, 1),
        "edge_pickup": (0, 1),
        "corner_pickup": (0, 1),
        "displaced_share": (0, 1),
        "displaced_mm": (0, 1000),
        "flung_share": (0, 1),
        "reach_share": (0.01, 0.99),
        "wobble_mm": (0, 1000),
        "pitch_spread_mm": (0, 1000),
        "wall_gap_mm": (0, 10_000),
        "corner_radius_mm": (0, 10_000),
    },
    "camera": {
        "height_mm": (50, 10_000),
        "tilt_deg": (0, 40),
        "azimuth_deg": (-360, 360),
        "roll_deg": (-180, 180),
        "megapixels": (0.05, 60),
        "focal_share": (0.4, 5),
        "k1": (-0.15, 0.15),
        "across": (1, 5),
        "down": (1, 5),
        "overlap": (0.1, 0.6),
    },
    "light": {
        "azimuth_deg": (-360, 360),
        "elevation_deg": (10, 90),
        "shadow": (0, 1),
        "contact": (0, 1),
        "shading": (0, 1),
        "gradient": (0, 1),
        "person": (0, 0.9),
        "wall_shade": (0, 0.9),
    },
    "imaging": {
        "exposure": (0.05, 10),
        "exposure_drift": (0, 0.5),
        "white_drift": (0, 0.2),
        "vignette": (0, 0.8),
        "blur_px": (0, 10),
        "full_well": (10, 1e9),
        "read": (0, 1000),
        "denoise": (0, 1),
        "sharpen": (0, 1),
        "jpeg_quality": (1, 100),
    },
}
_PORTION_RANGES: dict[str, tuple[float, float]] = {
    "aspect": (1, 20),
    "height_share": (0, 2),
    "color_spread": (0, 0.5),
}
#: More grains than this take minutes; a photo of them says nothing that a smaller one would not.
MOST_GRAINS = 200_000


def check_spec(spec: SceneSpec) -> None:
    """Check every field of a spec.

    Raises
    ------
    SceneError
        For the first field that is out of its range or contradicts another.
    """
    for part, ranges in _RANGES.items():
        records = spec.passes if part == "passes" else (getattr(spec, part),)
        for number, record in enumerate(records, start=1):
            label = f"{part}[{number}]" if part == "passes" else part
            for field, limits in ranges.items():
                _check_range(f"{label}.{field}", getattr(record, field), limits)
    for number, cleaning in enumerate(spec.passes, start=1):
        _check_way(f"passes[{number}]", cleaning, spec.patch)
    if spec.floor.kind not in FLOORS:
        raise SceneError(f'floor.kind "{spec.floor.kind}" is unknown. Known are: {", ".join(FLOORS)}.')
    if not spec.portions:
        raise SceneError("portions is empty. Give one kind of debris or more.")
    if spec.scatter.clumped_share + spec.scatter.wall_share > 1:
        total = spec.scatter.clumped_share + spec.scatter.wall_share
        raise SceneError(f"scatter.clumped_share and wall_share add up to {total:g}. Keep their sum at 1 or less.")
    names = [portion.kind.name for portion in spec.portions]
    for name in names:
        if names.count(name) > 1:
            raise SceneError(f'portions name the kind "{name}" twice. Give each kind a name of its own.')
    for portion in spec.portions:
        _check_portion(portion)
    if spec.seed < 0:
        raise SceneError(f"seed must be 0 or more, got {spec.seed}.")


def _check_range(label: str, value: Any, limits: tuple[float, float]) -> None:
    if value is None:
        return
    low, high = limits
    if not math.isfinite(value) or not low <= value <= high:
        raise SceneError(f"{label} must be from {low:g} to {high:g}, got {value:g}.")


def _check_way(label: str, cleaning: Cleaning, patch: Patch) -> None:
    if cleaning.path not in PATHS:
        raise SceneError(f'{label}.path "{cleaning.path}" is unknown. Known are: {", ".join(PATHS)}.')
    if cleaning.path != "lanes":
        for field in ("wobble_mm", "pitch_spread_mm"):
            if getattr(cleaning, field):
                value = f"{getattr(cleaning, field):g}"
                raise SceneError(f'{label}.{field} is {value}, but its path is "{cleaning.path}". Give 0, or lanes.')
    if cleaning.path in ("wander", "spiral") and not cleaning.width_mm:
        raise SceneError(f'{label}.width_mm is 0: the path "{cleaning.path}" would never end. Give a wider machine.')
    for polygon in cleaning.missed_mm:
        _check_polygon(f"{label}.missed_mm", polygon)
    side = cleaning.flung_side
    if side is None:
        return
    if side not in WALL_SIDES:
        raise SceneError(f'{label}.flung_side "{side}" is unknown. Known are: {", ".join(WALL_SIDES)}.')
    if side in patch.walls or patch.margin_mm == 0:
        reason = "a wall stands there" if side in patch.walls else "the patch has no margin"
        raise SceneError(f'{label}.flung_side is "{side}", but {reason}. Give a side with a margin.')


def _check_polygon(label: str, polygon: Polygon) -> None:
    if len(polygon) < 3:
        raise SceneError(f"{label} holds a place of {len(polygon)} points. Give three or more, each (x, y) in mm.")
    if not all(len(point) == 2 and all(math.isfinite(value) for value in point) for point in polygon):
        raise SceneError(f"{label} holds a point that is not two finite numbers. Give each as (x, y) in mm.")
    # Half the sum of cross products is the area of a polygon that does not cross itself.
    doubled = sum(a[0] * b[1] - b[0] * a[1] for a, b in zip(polygon, (*polygon[1:], polygon[0]), strict=True))
    if abs(doubled) < 2:
        raise SceneError(f"{label} holds a place of {abs(doubled) / 2:.2g} mm². Give one of 1 mm² or more.")


def _check_portion(portion: Portion) -> None:
    kind, label = portion.kind, f'portion "{portion.kind.name}"'
    for field, limits in _PORTION_RANGES.items():
        _check_range(f"{label} {field}", getattr(portion, field), limits)
    if portion.shape not in SHAPES:
        raise SceneError(f'{label} shape "{portion.shape}" is unknown. Known are: {", ".join(SHAPES)}.')
    small, large = kind.size_mm
    if not 0 < small <= large < 500:
        raise SceneError(f"{label} size_mm must ascend from above 0 to below 500, got [{small:g}, {large:g}].")
    if (portion.cover_share is None) == (portion.grams is None):
        raise SceneError(f"{label} needs either cover_share or grams. Give one of them.")
    if portion.cover_share is not None and not 0 <= portion.cover_share <= 0.5:
        raise SceneError(f"{label} cover_share must be from 0 to 0.5, got {portion.cover_share:g}.")
    if portion.grams is not None:
        if kind.area_mass_mg_per_mm2 is None:
            raise SceneError(f"{label} is given in grams but has no area_mass_mg_per_mm2. Give it, or a cover share.")
        _check_range(f"{label} grams", portion.grams, (0, 100_000))
