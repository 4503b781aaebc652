"""The pages that say where the squares lie: sketch, distances to measure, and distances to check."""

import math
from collections.abc import Iterator

from ..inputs.patch import Patch
from .distances import check_distances_mm, distances_mm, sides_to_measure_from
from .draw import Page, text
from .paper import printed_box_mm
from .sketch import draw_sketch
from .tables import Table, break_tables, draw_tables

#: Heights on the first page: the sketch with its legend, and the sentence above it.
_SKETCH_MM, _SENTENCE_MM = 118.0, 6.0
#: Pairs of squares side by side in the table of checks.
_SIDE_BY_SIDE = 4


def plan_layout(patch: Patch, paper: str) -> list[list[Table]]:
    """Spread the tables of a patch over pages, of which the first has the sketch too."""
    _, top, _, bottom = printed_box_mm(paper)

    def rooms() -> Iterator[float]:
        yield bottom - top - _SKETCH_MM - _SENTENCE_MM
        while True:
            yield bottom - top

    return break_tables([place_table(patch), check_table(patch)], rooms())


def place_table(patch: Patch) -> Table:
    """Distances of every square's edges and centre from the sides of the patch."""
    across, down = sides_to_measure_from(patch)
    named = [f"from the {side} {'wall' if side in patch.walls else 'side of the patch'}" for side in (across, down)]
    rows = []
    for marker in patch.markers:
        cells = [str(marker.id), f"{marker.side_mm:g}"]
        for distance in distances_mm(patch, marker):
            cells += [f"{value:.1f}" for value in (distance.near_mm, distance.center_mm, distance.far_mm)]
        rows.append(tuple(cells))
    return Table(
        "Measure to the black squares, mm (a minus sign: outside, away from the patch)",
        (12, 26, 50, 74, 100, 132, 156, 182),
        (
            ("", "", "", "", named[0], "", "", named[1]),
            ("square", "side", *("first edge", "centre", "second edge") * 2),
        ),
        tuple(rows),
    )


def check_table(patch: Patch) -> Table:
    """Distances between the squares' centres, and the patch's own diagonal."""
    cells = [(f"{a} to {b}", f"{mm:.1f}") for a, b, mm in check_distances_mm(patch)]
    cells.append(("patch", f"{math.hypot(patch.width_mm, patch.height_mm):.1f}"))
    rows = []
    for start in range(0, len(cells), _SIDE_BY_SIDE):
        row = cells[start : start + _SIDE_BY_SIDE]
        row += [("", "")] * (_SIDE_BY_SIDE - len(row))
        rows.append(tuple(part for pair in row for part in pair))
    columns = tuple(float(45 * pair + right) for pair in range(_SIDE_BY_SIDE) for right in (18, 35))
    return Table(
        "Check from centre to centre, and both diagonals of the patch, mm (agree within 1.5 mm)",
        columns,
        (),
        tuple(rows),
    )


def draw_layout(page: Page, patch: Patch, tables: list[Table], paper: str, *, first: bool) -> None:
    """Draw one page of the layout between heading and ruler."""
    left, top, right, _ = printed_box_mm(paper)
    if first:
        text(page, left, top + 1, "Where the papers lie, seen from above with the patch's top side up:", 9)
        top += _SENTENCE_MM
        draw_sketch(page, patch, (left, top, right, top + _SKETCH_MM))
        top += _SKETCH_MM
    draw_tables(page, tables, left, top)
