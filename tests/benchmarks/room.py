"""How well whole rooms are measured: simulated ones, some from one photo a shot, some from four that overlap.

    python tests/benchmarks/room.py

Prints a line a room and then the figures beside their bars: error of the room's pickup, how far joined photos lie
apart where two show one place, whether the missed lane was found, and whether the interval of the share reached holds
the truth. Takes a quarter of an hour or more.
"""

import argparse
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from debriscount.arrays import Floats, Mask
from debriscount.inputs.patch import NotFloor
from debriscount.leftovers.records import WhyLeft
from debriscount.mosaic.place import place_photos
from debriscount.run.measure import measure
from debriscount.run.sources import load_photo
from debriscount.simulate.options import scene_spec
from debriscount.simulate.scene import Scene, make_scene
from debriscount.simulate.spec import SceneSpec

CUPBOARD = NotFloor("cupboard", ((1900.0, 600.0), (2500.0, 600.0), (2500.0, 1000.0), (1900.0, 1000.0)))
#: A lane is found if so much of its floor lies in places that are told as missed.
FOUND = 0.7


@dataclass(frozen=True, slots=True, kw_only=True)
class Result:
    """One room: error of its pickup, whether its truth lies in the intervals, and what was found of the missed lane."""

    name: str
    error_points: float
    pickup_holds: bool
    reach_holds: bool | None
    floor_holds: bool | None
    lane_found: float
    apart_mm: float | None


def rooms() -> dict[str, SceneSpec]:
    """The rooms, the last two of four photos a shot."""
    cupboard = scene_spec(
        room_m="3x2", floor="tile", photos="2x2", megapixels=3, walls=["top"], seed=6, pickup_percent=85
    )
    return {
        "3 x 2 m planks": scene_spec(room_m="3x2", megapixels=6, walls=["top"], seed=1),
        "4 x 3 m tile": scene_spec(room_m="4x3", floor="tile", megapixels=10, walls=["top", "left"], seed=2),
        "2.5 x 2 m carpet": scene_spec(room_m="2.5x2", floor="carpet", megapixels=6, seed=3, pickup_percent=80),
        "3 x 2.5 m terrazzo": scene_spec(room_m="3x2.5", floor="terrazzo", megapixels=8, walls=["left"], seed=4),
        "4 x 3 m planks, four photos": scene_spec(room_m="4x3", photos="2x2", megapixels=4, walls=["top"], seed=5),
        "3 x 2 m tile with a cupboard, four photos": replace(
            cupboard, patch=replace(cupboard.patch, not_floor=(CUPBOARD,))
        ),
    }


def run(name: str, spec: SceneSpec) -> Result:
    """Make a room, measure it and hold the figures against its truth."""
    scene = make_scene(spec)
    shots = {shot: [scene.pixels(photo) for photo in spec.photo_names(shot)] for shot in spec.shot_names}
    kinds = [portion.kind for portion in spec.portions]
    found = measure(spec.patch, shots["before"], [shots["after"]], blank=shots.get("blank"), debris=kinds)
    whole, why = found.passes[0].zones["patch"], found.left.passes[0]
    true = scene.truth.pickup_percent(1)["patch"]
    reached = scene.truth.reached_percent(1)["patch"]
    share = None if why is None or why.reach is None else why.reach.zones["patch"].interval95
    floor = None if why is None or why.reach is None else why.reach.floor.interval95
    places = np.random.default_rng(1).uniform((0, 0), (spec.patch.width_mm, spec.patch.height_mm), (100_000, 2))
    over = 100 * float(scene.truth.routes[0].reaches(places[spec.patch.is_floor(*places.T)]).mean())
    assert true is not None and reached is not None
    low, high = whole.interval95 or (np.nan, np.nan)
    return Result(
        name=name,
        error_points=np.nan if whole.pickup_percent is None else whole.pickup_percent - true,
        pickup_holds=bool(low <= true <= high),
        reach_holds=None if share is None else bool(share[0] <= reached <= share[1]),
        floor_holds=None if floor is None else bool(floor[0] <= over <= floor[1]),
        lane_found=0.0 if why is None else lane_found(scene, why),
        apart_mm=apart_mm(scene) if len(shots["before"]) > 1 else None,
    )


def lane_found(scene: Scene, why: WhyLeft) -> float:
    """Share of the missed lane's floor that lies in places told as missed."""
    from skimage.measure import points_in_poly

    patch = scene.spec.patch
    points = np.random.default_rng(0).uniform((0, 0), (patch.width_mm, patch.height_mm), (40_000, 2))
    points = points[patch.is_floor(*points.T)]
    lane = points[points_in_poly(points, np.array(scene.spec.passes[0].missed_mm[0]))]  # type: ignore[no-untyped-call]
    told = np.zeros(len(lane), bool)
    for place in why.missed:
        told |= np.asarray(points_in_poly(lane, np.array(place.polygon_mm)), np.bool_)  # type: ignore[no-untyped-call]
    return float(told.mean())


def apart_mm(scene: Scene) -> float:
    """How far two photos of a shot have one place of the floor apart, root mean square, of the worst pair, mm."""
    spec = scene.spec
    shots = {
        shot: [load_photo(scene.pixels(photo), photo) for photo in spec.photo_names(shot)] for shot in spec.shot_names
    }
    placed = place_photos(shots, spec.patch)
    poses = list(scene.truth.poses.values())
    x, y = np.meshgrid(np.linspace(0, spec.patch.width_mm, 61), np.linspace(0, spec.patch.height_mm, 61))
    floor = np.column_stack([x.ravel(), y.ravel()])
    worst = 0.0
    for i, k in placed.apart_mm:
        seen = [poses[n].view.project(floor) for n in (i, k)]
        both = np.logical_and.reduce([_inside(px, poses[n].size_px) for px, n in zip(seen, (i, k), strict=True)])
        off = placed.views[i].floor_mm(seen[0][both]) - placed.views[k].floor_mm(seen[1][both])
        worst = max(worst, float(np.sqrt((off**2).sum(axis=1).mean())))
    return worst


def _inside(pixels: Floats, size_px: tuple[int, int]) -> Mask:
    return np.asarray(((pixels >= 0) & (pixels <= np.array(size_px) - 1)).all(axis=1))


def told(results: Sequence[Result]) -> str:
    """The figures beside their bars."""
    error = np.abs([r.error_points for r in results])
    apart = [r.apart_mm for r in results if r.apart_mm is not None]
    held = [bool(held) for r in results for held in (r.reach_holds, r.floor_holds)]
    return "\n".join(
        [
            f"error of the pickup, median and worst: {np.median(error):.2f} and {error.max():.2f} points (1 and 3)",
            f"interval of the pickup holds: {sum(r.pickup_holds for r in results)} of {len(results)}",
            f"joined photos apart, worst pair: {max(apart, default=np.nan):.2f} mm (0.5)",
            f"missed lane found: {sum(r.lane_found >= FOUND for r in results)} of {len(results)} (all)",
            f"intervals of debris and floor reached hold: {sum(held)} of {len(held)} (90 %)",
        ]
    )


def _held(held: bool | None) -> str:
    return "held" if held else "not held"


def main() -> None:
    """Run all rooms, or those whose names hold a word."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("word", nargs="?", default="", help="only rooms whose name holds this")
    word = parser.parse_args().word
    results = []
    for name, spec in rooms().items():
        if word in name:
            results.append(run(name, spec))
            one = results[-1]
            apart = "" if one.apart_mm is None else f", apart {one.apart_mm:.2f} mm"
            print(
                f"{name}: {one.error_points:+.2f} points, {'in' if one.pickup_holds else 'outside'} its interval; "
                f"lane {100 * one.lane_found:.0f} %; debris reached {_held(one.reach_holds)}, floor reached {_held(one.floor_holds)}{apart}",
                flush=True,
            )
    print(told(results))


if __name__ == "__main__":
    main()
