"""Rooms whose truth is known: simulated ones, and those rendered elsewhere that lie in a folder."""

import json
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from skimage.measure import points_in_poly

from debriscount.arrays import Floats
from debriscount.camera.lens import Lens
from debriscount.camera.view import FloorToPhoto
from debriscount.inputs.debris import DebrisKind
from debriscount.inputs.debris_file import read_debris_files
from debriscount.inputs.patch import NotFloor, Patch
from debriscount.inputs.patch_file import read_patch
from debriscount.run.sources import PhotoSource, photos_of
from debriscount.simulate.options import scene_spec
from debriscount.simulate.scene import make_scene
from debriscount.simulate.spec import SceneSpec

if TYPE_CHECKING:
    from tests.benchmarks.scenes import REPOSITORY
    from tests.benchmarks.truth import INSIDE, pickup_percent, read_particles, true_amounts
else:  # run as a script, this folder is where Python looks first
    from scenes import REPOSITORY
    from truth import INSIDE, pickup_percent, read_particles, true_amounts

ABSENT = "rendered rooms skipped: no folder shared/rooms beside the repository, and none is given by --rendered"
CUPBOARD = NotFloor("cupboard", ((1900.0, 600.0), (2500.0, 600.0), (2500.0, 1000.0), (1900.0, 1000.0)))
Polygon = Sequence[Sequence[float]]


@dataclass(frozen=True, slots=True, kw_only=True)
class TruePass:
    """What is so of a pass: pickup since *before*, and what it reached of the debris by zone and of the floor, percent.

    ``missed_mm`` are the places that it should have reached and did not, as outlines.
    """

    pickup_percent: float
    reached_percent: Mapping[str, float | None]
    floor_percent: float
    missed_mm: tuple[Polygon, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Room:
    """A room as `measure` takes it, and its truth; ``poses`` holds view and size in pixels by shot, a list a shot."""

    patch: Patch
    shots: Mapping[str, Sequence[PhotoSource]]
    kinds: tuple[DebrisKind, ...]
    passes: tuple[TruePass, ...]
    poses: Mapping[str, Sequence[tuple[FloorToPhoto, tuple[int, int]]]]


def rooms(rendered: Path | None) -> Iterator[tuple[str, Callable[[], Room]]]:
    """Rooms by name, each made or read only when it is asked for."""
    for name, spec in _specs().items():
        yield name, lambda spec=spec: _simulated(spec)  # type: ignore[misc]
    folder = rendered or REPOSITORY.parent / "shared" / "rooms"
    for place in sorted(path.parent for path in folder.glob("*/truth.json")):
        yield place.name, lambda place=place: _rendered(place)  # type: ignore[misc]


def are_rendered(rendered: Path | None) -> bool:
    """Whether there are rendered rooms."""
    return any((rendered or REPOSITORY.parent / "shared" / "rooms").glob("*/truth.json"))


def _specs() -> dict[str, SceneSpec]:
    cupboard = scene_spec(
        room_m="3x2", floor="tile", photos="2x2", megapixels=3, walls=["top"], seed=6, pickup_percent=85
    )
    again = scene_spec(room_m="3.5x2.5", megapixels=8, walls=["top", "left"], seed=7, pickup_percent=85, passes=2)
    column = ((2000.0, -1e4), (2250.0, -1e4), (2250.0, 1e4), (2000.0, 1e4))
    across = replace(again.passes[1], heading_deg=90.0, missed_mm=(column,))
    return {
        "3 x 2 m planks": scene_spec(room_m="3x2", megapixels=6, walls=["top"], seed=1),
        "4 x 3 m tile": scene_spec(room_m="4x3", floor="tile", megapixels=10, walls=["top", "left"], seed=2),
        "2.5 x 2 m carpet": scene_spec(room_m="2.5x2", floor="carpet", megapixels=6, seed=3, pickup_percent=80),
        "3 x 2.5 m terrazzo": scene_spec(room_m="3x2.5", floor="terrazzo", megapixels=8, walls=["left"], seed=4),
        "4 x 3 m planks, four photos": scene_spec(room_m="4x3", photos="2x2", megapixels=4, walls=["top"], seed=5),
        "3 x 2 m tile with a cupboard, four photos": replace(
            cupboard, patch=replace(cupboard.patch, not_floor=(CUPBOARD,))
        ),
        "3.5 x 2.5 m planks, two passes": replace(again, passes=(again.passes[0], across)),
    }


def _simulated(spec: SceneSpec) -> Room:
    scene = make_scene(spec)
    truth, patch = scene.truth, spec.patch
    places = np.random.default_rng(1).uniform((0, 0), (patch.width_mm, patch.height_mm), (100_000, 2))
    places = places[patch.is_floor(*places.T)]
    passes = []
    for number, route in enumerate(truth.routes, start=1):
        pickup = truth.pickup_percent(number)["patch"]
        assert pickup is not None
        passes.append(
            TruePass(
                pickup_percent=pickup,
                reached_percent=truth.reached_percent(number),
                floor_percent=100 * float(route.reaches(places).mean()),
                missed_mm=tuple(spec.passes[number - 1].missed_mm),
            )
        )
    return Room(
        patch=patch,
        shots={shot: [scene.pixels(photo) for photo in spec.photo_names(shot)] for shot in spec.shot_names},
        kinds=tuple(portion.kind for portion in spec.portions),
        passes=tuple(passes),
        poses={
            shot: [(truth.poses[photo].view, truth.poses[photo].size_px) for photo in spec.photo_names(shot)]
            for shot in spec.shot_names
        },
    )


def _rendered(folder: Path) -> Room:
    """A folder with patch.toml, a photo or a folder of them a shot, particles.csv, truth.json and cameras.json.

    Debris files lie in the folder ``debris`` beside it.
    """
    particles = read_particles(folder / "particles.csv")
    told: list[dict[str, Any]] = json.loads((folder / "truth.json").read_text(encoding="utf-8"))["passes"]
    cameras = json.loads((folder / "cameras.json").read_text(encoding="utf-8"))
    names = ["blank", "before", "after", *(f"after{number}" for number in range(2, len(told) + 1))]
    sources = {name: folder / name if (folder / name).is_dir() else folder / f"{name}.jpg" for name in names}
    shots = {name: photos_of(source) for name, source in sources.items() if source.exists()}
    kinds = read_debris_files(
        [folder.parent / "debris" / f"{kind}.toml" for kind in sorted({r["kind"] for r in particles})]
    )
    before = {zone: amount.area_mm2 for zone, amount in true_amounts(particles, 0).items()}
    passes = []
    for number, way in enumerate(told, start=1):
        after = {zone: amount.area_mm2 for zone, amount in true_amounts(particles, number).items()}
        pickup = pickup_percent(before, after)["patch"]
        assert pickup is not None
        passes.append(
            TruePass(
                pickup_percent=pickup,
                reached_percent=_reached_percent(particles, number),
                floor_percent=way["floor_reached_percent"],
                missed_mm=(*(_lane(way, lane) for lane in way["skip"]), *way["missed_mm"]),
            )
        )
    return Room(
        patch=read_patch(folder / "patch.toml"),
        shots=shots,
        kinds=kinds,
        passes=tuple(passes),
        poses={
            shot: [_pose(cameras[f"{shot}/{Path(str(p)).stem}" if len(photos) > 1 else shot]) for p in photos]
            for shot, photos in shots.items()
        },
    )


def _reached_percent(particles: Sequence[Mapping[str, str]], number: int) -> dict[str, float | None]:
    """Share of the debris that lay in the patch and each zone before a pass that the machine passed over, percent."""
    column = "zone_before" if number == 1 else f"zone_pass{number - 1}"
    shares: dict[str, float | None] = {}
    for zone in ("patch", *INSIDE):
        own = [row for row in particles if row[column] in (INSIDE if zone == "patch" else (zone,))]
        total = sum(float(row["area_mm2"]) for row in own)
        reached = sum(float(row["area_mm2"]) for row in own if row[f"reached_pass{number}"] == "1")
        shares[zone] = 100 * reached / total if total else None
    return shares


def _lane(way: Mapping[str, Any], number: int) -> Polygon:
    """What was missed of a lane that was left out: less what its neighbours overlap it by."""
    heading = np.radians(way["heading_deg"])
    along, across = np.array([np.cos(heading), np.sin(heading)]), np.array([-np.sin(heading), np.cos(heading)])
    middle, half = way["offset_mm"] + number * way["pitch_mm"], way["pitch_mm"] - way["width_mm"] / 2
    corners = [(-1e4, -half), (1e4, -half), (1e4, half), (-1e4, half)]
    return [(u * along + (middle + v) * across).tolist() for u, v in corners]


def _pose(camera: Mapping[str, Any]) -> tuple[FloorToPhoto, tuple[int, int]]:
    """View of a camera at R, t with OpenCV's axes and a floor at height 0."""
    focal, center = (camera["fx"], camera["fy"]), (camera["cx"], camera["cy"])
    inner: Floats = np.array([[focal[0], 0, center[0]], [0, focal[1], center[1]], [0, 0, 1]])
    outer: Floats = np.column_stack([np.array(camera["R"])[:, :2], camera["t_mm"]])
    view = FloorToPhoto(inner @ outer, Lens(center, focal, (camera["k1"], 0.0, 0.0)))
    return view, (camera["width_px"], camera["height_px"])


def share_inside(points: Floats, outlines: Sequence[Polygon]) -> float:
    """Share of points of shape (N, 2) that lie in any of the outlines, 0 to 1."""
    inside = np.zeros(len(points), bool)
    for outline in outlines:
        inside |= np.asarray(points_in_poly(points, np.array(outline)), np.bool_)  # type: ignore[no-untyped-call]
    return float(inside.mean())
