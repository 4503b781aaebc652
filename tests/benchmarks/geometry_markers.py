"""Markers found where they are, and none where there are none: parts *markers* and *false* of `geometry.py`."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from debriscount.inputs.patch import Patch
from debriscount.simulate.develop import decode_jpeg
from debriscount.simulate.pose import Pose
from debriscount.simulate.scene import make_scene
from debriscount.simulate.truth import draw_truth

if TYPE_CHECKING:
    from tests.benchmarks.geometry_scenes import SPREAD_PER_SIGMA, feasible, photographed
else:  # run as a script, this folder is where Python looks first
    from geometry_scenes import SPREAD_PER_SIGMA, feasible, photographed

#: A marker whose corners are off by more counts as not found.
CORNER_PX = 1.0
#: Numbers of the dictionary DICT_4X4_50.
NUMBERS = frozenset(range(50))


@dataclass(frozen=True, slots=True)
class MarkerRow:
    """One photo. ``off_px`` is the worst corner's error of each marker that the photo shows whole, by number.

    It is infinite for a marker not found; ``side_px`` are the sides of the black squares, in the same order.
    """

    seed: int
    floor: str
    tilt_deg: float
    spread_px: float
    size_px: tuple[int, int]
    side_px: tuple[float, ...]
    off_px: dict[int, float]

    @property
    def missed(self) -> tuple[int, ...]:
        """Numbers of the markers not found, or found elsewhere."""
        return tuple(number for number, off in self.off_px.items() if off > CORNER_PX)


@dataclass(frozen=True, slots=True)
class FalseRow:
    """One photo without any marker, and the numbers seen in it all the same."""

    seed: int
    floor: str
    seen: tuple[int, ...]


def shown_whole(patch: Patch, pose: Pose) -> list[int]:
    """Numbers of the markers whose black square lies in the photo."""
    last = np.array(pose.size_px) - 1
    corners = {m.id: pose.view.project(m.corners_mm()) for m in patch.markers}
    return [number for number, seen in corners.items() if (seen >= 0).all() and (seen <= last).all()]


def marker_run(seed: int) -> MarkerRow:
    """Make a photo and look for all numbers in it."""
    from debriscount.markers.find_markers import find_markers

    spec = feasible("markers", seed)
    scene = make_scene(spec)
    pose = scene.truth.poses["before"]
    found = find_markers(decode_jpeg(scene.jpegs["before"]), {marker.id for marker in spec.patch.markers})
    off, sides = {}, []
    for number in shown_whole(spec.patch, pose):
        marker = next(m for m in spec.patch.markers if m.id == number)
        true = pose.view.project(marker.corners_mm())
        sides.append(round(float(np.linalg.norm(true - np.roll(true, 1, axis=0), axis=1).mean()), 1))
        worst = np.hypot(*(found[number].corners_px - true).T).max() if number in found else np.inf
        off[number] = round(float(worst), 4)
    return MarkerRow(
        seed,
        spec.floor.kind,
        round(pose.tilt_deg, 1),
        round(spec.imaging.blur_px * SPREAD_PER_SIGMA, 2),
        pose.size_px,
        tuple(sides),
        off,
    )


def false_run(seed: int) -> FalseRow:
    """Make a photo without markers and look for all numbers in it."""
    from debriscount.markers.find_markers import find_markers

    spec = feasible("false", seed)
    truth = draw_truth(spec)
    # The camera is placed so as to see the markers; then they are taken away.
    bare = replace(spec, patch=replace(spec.patch, markers=()))
    pixels = decode_jpeg(photographed({"before": bare}, truth)["before"])
    return FalseRow(seed, spec.floor.kind, tuple(sorted(find_markers(pixels, NUMBERS))))


def summarise_markers(rows: Sequence[MarkerRow]) -> dict[str, float | None]:
    """Return what is held against the bar, and errors of corners beside it."""
    markers = [off for row in rows for off in row.off_px.values()]
    found = [off for off in markers if off <= CORNER_PX]
    return {
        "markers: shots with all found, %": 100 * float(np.mean([not row.missed for row in rows])) if rows else None,
        "markers: found of all, %": 100 * len(found) / len(markers) if markers else None,
        "markers: worst corner of each, median, px": float(np.median(found)) if found else None,
        "markers: worst corner of each, 95th percentile, px": float(np.percentile(found, 95)) if found else None,
    }


def summarise_false(rows: Sequence[FalseRow]) -> dict[str, float | None]:
    """Return how many markers were seen where there are none."""
    return {
        "false: pictures without markers": float(len(rows)),
        "false: markers seen": float(sum(len(row.seen) for row in rows)) if rows else None,
    }


def print_markers(rows: Sequence[MarkerRow]) -> None:
    """Print what share is found by tilt, spread and size, and every photo in which one was missed."""
    print("\nmarkers: shots, those with all found; markers, those found; worst corner, median and 95th percentile, px")
    single = [(row, side, off) for row in rows for side, off in zip(row.side_px, row.off_px.values(), strict=True)]
    for title, edges, value in (
        ("tilt, deg", (0, 10, 20, 35), lambda row, _: row.tilt_deg),
        ("edge spread, px", (0, 1.5, 2.25, 3.1), lambda row, _: row.spread_px),
        ("side, px", (0, 60, 120, 240, 9999), lambda _, side: side),
    ):
        for low, high in pairwise(edges):
            own = [(row, off) for row, side, off in single if low <= value(row, side) < high]
            print(f"{title:>16} {low:6g} to {high:<6g}" + _cells(own))
    for kind in sorted({row.floor for row in rows}):
        print(f"{'floor':>16} {kind:16}" + _cells([(row, off) for row, _, off in single if row.floor == kind]))
    for row in rows:
        for number in row.missed:
            side = row.side_px[list(row.off_px).index(number)]
            print(
                f"  seed {row.seed}: marker {number} of {side} px off by {row.off_px[number]} px: {row.floor}, "
                f"tilt {row.tilt_deg}, spread {row.spread_px} px, {row.size_px[0]} x {row.size_px[1]}"
            )


def _cells(own: Sequence[tuple[MarkerRow, float]]) -> str:
    shots = {row.seed: not row.missed for row, _ in own}
    found = [off for _, off in own if off <= CORNER_PX]
    quantiles = "".join(f"{np.percentile(found, q):8.3f}" for q in (50, 95)) if found else f"{'-':>8}{'-':>8}"
    return f"{len(shots):6}{sum(shots.values()):6}{len(own):8}{len(found):6}{quantiles}"


def print_false(rows: Sequence[FalseRow]) -> None:
    """Print pictures by floor and every false marker."""
    print("\nfalse: pictures without markers, and markers seen in them")
    for kind in sorted({row.floor for row in rows}):
        own = [row for row in rows if row.floor == kind]
        print(f"{kind:16}{len(own):6}{sum(len(row.seen) for row in own):6}")
    for row in rows:
        if row.seen:
            print(f"  seed {row.seed}: {row.floor}: {row.seen}")
