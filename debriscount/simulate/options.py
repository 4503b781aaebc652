"""A scene from the few words that a person gives on the command line."""

import re
from collections.abc import Sequence
from dataclasses import replace
from os import PathLike

from ..errors import SceneError
from ..inputs.debris import DebrisKind
from ..inputs.debris_file import read_debris_files
from ..inputs.patch import Patch
from ..layout.lay_patch import lay_patch
from ..layout.lay_room import lay_room
from .check import check_spec
from .spec import Camera, Cleaning, Floor, Portion, Rgb, SceneSpec, Strewing

#: What lies there unless something else is asked for; invented.
USUAL_DEBRIS = DebrisKind("red lentils", (212, 100, 49), (4.1, 5.6), 31.9, 1.73)

#: Debris that covers so much of a room lies a few centimetres apart: a machine's bin would not hold more.
ROOM_LOAD_PERCENT = 1.0
#: From lane to lane in a room, and how far a machine overlaps its last lane, mm (common practice, no source).
ROOM_LANE_MM, ROOM_OVERLAP_MM = 250.0, 20.0


def scene_spec(
    *,
    debris: Sequence[str | PathLike[str]] = (),
    size_mm: str | None = None,
    color: str | None = None,
    shape: str = "round",
    load_percent: float | None = None,
    grams: float | None = None,
    floor: str = "planks",
    floor_color: str | None = None,
    contrast: float = 1.0,
    patch_mm: str = "600x400",
    walls: Sequence[str] = (),
    height_mm: float | None = None,
    megapixels: float = 12.0,
    tilt_deg: float = 4.0,
    pickup_percent: float = 92.0,
    edge_pickup_percent: float | None = None,
    path: str = "lanes",
    passes: int = 1,
    room_m: str | None = None,
    photos: str = "1x1",
    seed: int = 0,
) -> SceneSpec:
    """Make a checked spec.

    Parameters
    ----------
    debris : sequence of path-like
        Debris files; without any, ``size_mm`` and ``color`` describe one kind, or it is lentils.
    size_mm : str, optional
        "4,6": 5th and 95th percentile of grain diameter, mm; "5" for grains of one size.
    color, floor_color : str, optional
        "#rrggbb".
    shape : str
        One of ``SHAPES``, for all kinds.
    load_percent, grams : float, optional
        Area of all debris over the patch's, or its mass, in equal parts of all kinds; 4 % unless given.
    floor : str
        One of ``FLOORS``.
    contrast : float
        Of the floor's texture, 1 being usual.
    patch_mm : str
        "600x400".
    walls : sequence of str
        Sides with a wall.
    height_mm : float, optional
        Of the camera; as low as possible unless given.
    megapixels, tilt_deg : float
        Of the camera.
    pickup_percent, edge_pickup_percent : float
        What the machine takes where it passes, on open floor and along walls (three fifths unless given).
    path : str
        One of ``PATHS``: how it drives, in every pass.
    passes : int
        How often it runs.
    room_m : str, optional
        "4x3": a room of that size in metres instead of the patch, cleaned in lanes of which one is missed.
    photos : str
        "2x2": how many photos across and down make a shot.
    seed : int
        Source of chance.

    Returns
    -------
    SceneSpec

    Raises
    ------
    SceneError
        A value that cannot be.
    PatchLayoutError
        A patch whose size, walls or markers cannot be.
    InputFileError
        A debris file that cannot be used.
    """
    kinds = _kinds(debris, size_mm, color)
    if load_percent is not None and grams is not None:
        raise SceneError("load is given both as a share and in grams. Give one of them.")
    if not 1 <= passes <= 10:
        raise SceneError(f"passes must be from 1 to 10, got {passes}.")
    edge = 0.6 * pickup_percent if edge_pickup_percent is None else edge_pickup_percent
    for label, value in (("pickup", pickup_percent), ("edge pickup", edge), ("load", load_percent or 0.0)):
        if not 0 <= value <= 100:
            raise SceneError(f"{label} must be from 0 to 100 percent, got {value:g}.")
    usual = 4.0 if room_m is None else ROOM_LOAD_PERCENT
    share = None if grams is not None else (usual if load_percent is None else load_percent) / 100 / len(kinds)
    mass = None if grams is None else grams / len(kinds)
    cleaning = Cleaning(pickup=pickup_percent / 100, edge_pickup=edge / 100, corner_pickup=edge / 200, path=path)
    across, down = _pair(photos, "x", "number of photos", "2x2", unit="photos")
    if room_m is None:
        patch = lay_patch(*_pair(patch_mm, "x", "patch size", "600x400"), walls)
    else:
        width, height = _pair(room_m.lower().removesuffix("m"), "x", "room size", "4x3", unit="metres")
        patch = lay_room(1000 * width, 1000 * height, walls, name="simulated room")
        cleaning = in_room(cleaning, patch)
    spec = SceneSpec(
        patch=patch,
        portions=tuple(Portion(kind, cover_share=share, grams=mass, shape=shape) for kind in kinds),
        floor=Floor(floor, None if floor_color is None else _rgb(floor_color, "floor color"), contrast=contrast),
        passes=(cleaning,) * passes,
        scatter=Strewing() if room_m is None else Strewing(clumped_share=0.0, wall_share=0.02),
        camera=Camera(
            height_mm=height_mm, megapixels=megapixels, tilt_deg=tilt_deg, across=int(across), down=int(down)
        ),
        seed=seed,
    )
    check_spec(spec)
    return spec


def in_room(cleaning: Cleaning, patch: Patch) -> Cleaning:
    """The same with lanes as wide as a machine's for rooms; on its path of lanes it misses one, in every pass."""
    lane = ROOM_LANE_MM
    top = lane * (int(patch.height_mm / lane) // 2) + cleaning.offset_mm - lane / 2
    missed = ((-1e4, top), (1e4, top), (1e4, top + lane), (-1e4, top + lane))
    wide = replace(cleaning, pitch_mm=lane, width_mm=lane + ROOM_OVERLAP_MM)
    return replace(wide, missed_mm=(missed,)) if cleaning.path == "lanes" else wide


def _kinds(debris: Sequence[str | PathLike[str]], size_mm: str | None, color: str | None) -> tuple[DebrisKind, ...]:
    if debris:
        if size_mm is not None or color is not None:
            raise SceneError("debris is given both as a file and as size and color. Give one of them.")
        return read_debris_files(debris)
    if size_mm is None and color is None:
        return (USUAL_DEBRIS,)
    if size_mm is None or color is None:
        missing = "size" if size_mm is None else "color"
        raise SceneError(f"debris lacks its {missing}. Give size and color together, or a debris file.")
    small, large = _pair(size_mm, ",", "debris size", "4,6") if "," in size_mm else 2 * (_number(size_mm),)
    return (DebrisKind("debris", _rgb(color, "debris color"), (small, large)),)


def _number(text: str) -> float:
    return _pair(f"{text},0", ",", "debris size", "4,6", shown=text)[0]


def _pair(
    text: str, between: str, what: str, example: str, *, shown: str | None = None, unit: str = "millimetres"
) -> tuple[float, float]:
    parts = text.lower().split(between)
    try:
        first, second = (float(part) for part in parts)
    except ValueError:
        raise SceneError(f'{what} must be written "{example}" in {unit}, got "{shown or text}".') from None
    return first, second


def _rgb(text: str, what: str) -> Rgb:
    if not re.fullmatch("#[0-9a-fA-F]{6}", text):
        raise SceneError(f'{what} must be written "#rrggbb", such as "#a8482c", got "{text}".')
    red, green, blue = bytes.fromhex(text[1:])
    return red, green, blue
