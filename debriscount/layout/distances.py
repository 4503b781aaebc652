"""What to measure by tape when the squares are laid: where each lies, and whether all lie as they should."""

import math
from dataclasses import dataclass
from itertools import combinations

from ..inputs.patch import Marker, Patch

#: Up to so many squares every pair is measured; among more, each with the two that lie farthest from it.
_ALL_PAIRS = 6


@dataclass(frozen=True, slots=True)
class Distance:
    """How far a square lies from a side of the patch, mm: its near edge, centre and far edge; negative outside it."""

    near_mm: float
    center_mm: float
    far_mm: float


def sides_to_measure_from(patch: Patch) -> tuple[str, str]:
    """Return "left" or "right", and "top" or "bottom": the side with the wall where only one of the two has one."""
    across = "right" if "right" in patch.walls and "left" not in patch.walls else "left"
    down = "bottom" if "bottom" in patch.walls and "top" not in patch.walls else "top"
    return across, down


def distances_mm(patch: Patch, marker: Marker) -> tuple[Distance, Distance]:
    """Distances of a square from the two sides that `sides_to_measure_from` gives."""
    across, down = sides_to_measure_from(patch)
    x, y = marker.center_mm
    from_side = (x if across == "left" else patch.width_mm - x, y if down == "top" else patch.height_mm - y)
    half = marker.side_mm / 2
    first, second = (Distance(d - half, d, d + half) for d in from_side)
    return first, second


def check_distances_mm(patch: Patch) -> list[tuple[int, int, float]]:
    """Distances between centres that show whether all lie as they should: two numbers and mm, diagonals included."""
    markers = patch.markers
    chosen = set(combinations(range(len(markers)), 2))
    if len(markers) > _ALL_PAIRS:
        chosen = set()
        for i in range(len(markers)):
            far = sorted((j for j in range(len(markers)) if j != i), key=lambda j: -_apart_mm(markers[i], markers[j]))
            chosen |= {(min(i, j), max(i, j)) for j in far[:2]}
    return [(markers[i].id, markers[j].id, _apart_mm(markers[i], markers[j])) for i, j in sorted(chosen)]


def _apart_mm(a: Marker, b: Marker) -> float:
    return math.dist(a.center_mm, b.center_mm)
