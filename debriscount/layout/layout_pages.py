"""The pages that say where the squares lie: sketch, distances to measure, and distances to check."""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import combinations

from ..inputs.patch import Marker, Patch
from .draw import Page, text
from .paper import printed_box_mm
from .sketch import draw_sketch
from .tables import SheetTable, break_tables, draw_tables

#: Heights on the first page: the sketch with its legend, and the sentence above it.
_SKETCH_MM, _SENTENCE_MM = 118.0, 6.0
#: Pairs of squares side by side in the table of checks.
_SIDE_BY_SIDE = 4


def plan_layout(patch: Patch, paper: str) -> list[list[SheetTable]]:
    """Spread the tables of a patch over pages, of which the first has the sketch too."""
    _, top, _, bottom = printed_box_mm(paper)

    def rooms() -> Iterator[float]:
        yield bottom - top - _SKETCH_MM - _SENTENCE_MM
        while True:
            yield bottom - top

    return break_tables([place_table(patch), check_table(patch)], rooms())


def place_table(patch: Patch) -> SheetTable:
    """Distances of every square's edges and centre from the sides of the patch."""
    across, down = sides_to_measure_from(patch)
    named = [f"from the {side} {'wall' if side in patch.walls else 'side of the patch'}" for side in (across, down)]
    rows = []
    for marker in patch.markers:
        cells = [str(marker.id), f"{marker.side_mm:g}"]
        for distance in distances_mm(patch, marker):
            cells += [f"{value:.1f}" for value in (distance.near_mm, distance.center_mm, distance.far_mm)]
        rows.append(tuple(cells))
    return SheetTable(
        "Measure to the black squares, mm (a minus sign: outside, away from the patch)",
        (12, 26, 50, 74, 100, 132, 156, 182),
        (
            ("", "", "", "", named[0], "", "", named[1]),
            ("square", "side", *("first edge", "centre", "second edge") * 2),
        ),
        tuple(rows),
    )


def check_table(patch: Patch) -> SheetTable:
    """Distances between the squares' centres, and the patch's own diagonal."""
    cells = [(f"{a} to {b}", f"{mm:.1f}") for a, b, mm in check_distances_mm(patch)]
    cells.append(("patch", f"{math.hypot(patch.width_mm, patch.height_mm):.1f}"))
    rows = []
    for start in range(0, len(cells), _SIDE_BY_SIDE):
        row = cells[start : start + _SIDE_BY_SIDE]
        row += [("", "")] * (_SIDE_BY_SIDE - len(row))
        rows.append(tuple(part for pair in row for part in pair))
    columns = tuple(float(45 * pair + right) for pair in range(_SIDE_BY_SIDE) for right in (18, 35))
    return SheetTable(
        "Check from centre to centre, and both diagonals of the patch, mm (agree within 1.5 mm)",
        columns,
        (),
        tuple(rows),
    )


def draw_layout(page: Page, patch: Patch, tables: list[SheetTable], paper: str, *, first: bool) -> None:
    """Draw one page of the layout between heading and ruler."""
    left, top, right, _ = printed_box_mm(paper)
    if first:
        text(page, left, top + 1, "Where the papers lie, seen from above with the patch's top side up:", 9)
        top += _SENTENCE_MM
        draw_sketch(page, patch, (left, top, right, top + _SKETCH_MM))
        top += _SKETCH_MM
    draw_tables(page, tables, left, top)


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
    from_side = [patch.to_side_mm(side, *marker.center_mm) for side in (across, down)]
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
