"""How well whole rooms are measured: simulated and rendered ones, some of one photo a shot, some of four that overlap.

    python tests/benchmarks/room.py
    python tests/benchmarks/room.py --rendered DIR --out results WORD

Prints a line a room and then the figures beside their bars: error of the room's pickup, how far joined photos lie
apart where two show one place, whether missed lanes were found, and whether the intervals of the shares reached hold
the truth. Takes half an hour or more.
"""

import argparse
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from debriscount.arrays import Floats, Mask
from debriscount.leftovers.records import WhyLeft
from debriscount.mosaic.place import place_photos
from debriscount.run.measure import measure
from debriscount.run.records import Measurement
from debriscount.run.sources import load_photo
from debriscount.stats.proportion import Interval

if TYPE_CHECKING:
    from tests.benchmarks.rooms import ABSENT, Polygon, Room, TruePass, are_rendered, rooms, share_inside
else:  # run as a script, this folder is where Python looks first
    from rooms import ABSENT, Polygon, Room, TruePass, are_rendered, rooms, share_inside

#: A place is found if so much of its floor lies in places that are told as missed.
FOUND = 0.7


@dataclass(frozen=True, slots=True, kw_only=True)
class PassResult:
    """One pass: error of its pickup, whether the truth lies in the intervals, and how much of each missed place is told.

    ``reached`` holds error in points, and whether the interval holds, of the debris reached by zone and of "floor".
    """

    error_points: float
    pickup_holds: bool
    trust: str
    reached: dict[str, tuple[float, bool]]
    found: tuple[float, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Result:
    """One room; ``apart_mm`` is known where its photos are joined."""

    name: str
    passes: tuple[PassResult, ...]
    apart_mm: float | None
    mm_per_px: float


def run(name: str, room: Room) -> tuple[Result, Measurement]:
    """Measure a room and hold the figures against its truth."""
    shots = room.shots
    afters = [those for shot, those in shots.items() if shot.startswith("after")]
    found = measure(room.patch, shots["before"], afters, blank=shots.get("blank"), debris=room.kinds)
    passes = tuple(_held_against(found, k, true) for k, true in enumerate(room.passes))
    apart = apart_mm(room) if len(shots["before"]) > 1 else None
    return Result(name=name, passes=passes, apart_mm=apart, mm_per_px=found.grid.mm_per_px), found


def _held_against(found: Measurement, number: int, true: TruePass) -> PassResult:
    whole, why = found.passes[number].zones["patch"], found.left.passes[number]
    low, high = whole.interval95 or (np.nan, np.nan)
    reached = {}
    if why is not None and why.reach is not None:
        for zone, share in {**why.reach.zones, "floor": why.reach.floor}.items():
            truth = true.floor_percent if zone == "floor" else true.reached_percent.get(zone)
            if share.share_percent is not None and share.interval95 is not None and truth is not None:
                reached[zone] = share.share_percent - truth, _holds(share.interval95, truth)
    error = np.nan if whole.pickup_percent is None else whole.pickup_percent - true.pickup_percent
    return PassResult(
        error_points=error,
        pickup_holds=bool(low <= true.pickup_percent <= high),
        trust=whole.trust,
        reached=reached,
        found=tuple(0.0 if why is None else place_found(found, why, place) for place in true.missed_mm),
    )


def _holds(interval: Interval, truth: float) -> bool:
    return bool(interval[0] <= truth <= interval[1])


def place_found(found: Measurement, why: WhyLeft, place: Polygon) -> float:
    """Share of a missed place's floor that lies in places told as missed."""
    patch = found.patch
    points = np.random.default_rng(0).uniform((0, 0), (patch.width_mm, patch.height_mm), (40_000, 2))
    points = points[patch.is_floor(*points.T)]
    inside = np.array([share_inside(point[None], [place]) > 0 for point in points])
    return share_inside(points[inside], [told.polygon_mm for told in why.missed])


def apart_mm(room: Room) -> float:
    """How far two photos of a shot have one place of the floor apart, root mean square, of the worst pair, mm."""
    shots = {
        shot: [load_photo(photo, f"{shot} {number}") for number, photo in enumerate(photos, start=1)]
        for shot, photos in room.shots.items()
    }
    placed = place_photos(shots, room.patch)
    poses = [pose for shot in shots for pose in room.poses[shot]]
    group = [shot for shot, photos in shots.items() for _ in photos]
    x, y = np.meshgrid(np.linspace(0, room.patch.width_mm, 61), np.linspace(0, room.patch.height_mm, 61))
    floor = np.column_stack([x.ravel(), y.ravel()])
    worst = 0.0
    for i, k in combinations(range(len(poses)), 2):
        if group[i] != group[k]:
            continue
        seen = [poses[n][0].project(floor) for n in (i, k)]
        both = np.logical_and.reduce([_inside(px, poses[n][1]) for px, n in zip(seen, (i, k), strict=True)])
        if both.any():
            off = placed.views[i].floor_mm(seen[0][both]) - placed.views[k].floor_mm(seen[1][both])
            worst = max(worst, float(np.sqrt((off**2).sum(axis=1).mean())))
    return worst


def _inside(pixels: Floats, size_px: tuple[int, int]) -> Mask:
    return np.asarray(((pixels >= 0) & (pixels <= np.array(size_px) - 1)).all(axis=1))


def told(results: Sequence[Result]) -> str:
    """The figures beside their bars."""
    passes = [one for result in results for one in result.passes]
    error = np.abs([one.error_points for one in passes])
    apart = [r.apart_mm for r in results if r.apart_mm is not None]
    found = [share for one in passes for share in one.found]
    whole, sound = (
        [held for one in some for zone, (_, held) in one.reached.items() if zone in ("patch", "floor")]
        for some in (passes, [one for one in passes if one.trust == "sound"])
    )
    zones = [held for one in passes for zone, (_, held) in one.reached.items() if zone not in ("patch", "floor")]
    return "\n".join(
        [
            f"error of the pickup, median and worst: {np.median(error):.2f} and {error.max():.2f} points (1 and 3)",
            f"interval of the pickup holds: {sum(one.pickup_holds for one in passes)} of {len(passes)}",
            f"joined photos apart, worst pair: {max(apart, default=np.nan):.2f} mm (0.5)",
            f"missed lanes and places found: {sum(share >= FOUND for share in found)} of {len(found)} (all)",
            f"intervals of debris and floor reached hold: {sum(whole)} of {len(whole)} (90 %), "
            f"of those that are called sound {sum(sound)} of {len(sound)} (90 %), "
            f"of zones' debris {sum(zones)} of {len(zones)} (90 %)",
        ]
    )


def _line(name: str, number: int, one: PassResult) -> str:
    reached = ", ".join(
        f"{zone} {off:+.1f}{'' if held else ' (not held)'}" for zone, (off, held) in one.reached.items()
    )
    places = " and ".join(f"{100 * share:.0f}" for share in one.found) or "no"
    return (
        f"{name}, pass {number}: {one.error_points:+.2f} points, {'in' if one.pickup_holds else 'outside'} its interval, "
        f"{one.trust}; {places} % of what was missed found; off in what is reached: {reached or 'not told'}"
    )


def main() -> None:
    """Run all rooms, or those whose names hold a word."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("word", nargs="?", default="", help="only rooms whose name holds this")
    parser.add_argument("--rendered", type=Path, help="folder of rendered rooms")
    parser.add_argument("--out", type=Path, help="write each room's result into a folder of its name there")
    given = parser.parse_args()
    if not are_rendered(given.rendered):
        print(ABSENT, flush=True)
    results = []
    for name, make in rooms(given.rendered):
        if given.word not in name:
            continue
        result, found = run(name, make())
        results.append(result)
        for number, one in enumerate(result.passes, start=1):
            print(_line(name, number, one), flush=True)
        if result.apart_mm is not None:
            print(
                f"{name}: {result.mm_per_px:.2f} mm per pixel, joined photos {result.apart_mm:.2f} mm apart", flush=True
            )
        if given.out is not None:
            from debriscount.report.write import write_measurement

            write_measurement(found, given.out / name.replace(" ", "-"), overwrite=True)
    print(told(results))


if __name__ == "__main__":
    main()
