"""A square on its paper: white rim, label and the line to cut along."""

from .draw import Page, box_corners, fill, outline, text
from .pages import Printed
from .paper import LABEL_MM, MODULES
from .squares import outlines, square_ink

#: Paper width that holds the label at its usual size, mm.
_USUAL_MM = 28.0


def draw_paper(page: Page, printed: Printed) -> None:
    """Draw a square at true size where it is printed on a page."""
    marker, (x, y) = printed.marker, printed.center_mm
    module, corner = marker.side_mm / MODULES, (x - marker.side_mm / 2, y - marker.side_mm / 2)
    fill(page, [loop * module + corner for loop in outlines(square_ink(marker.id))])
    outline(page, box_corners(printed.box_mm), 0.15, dashes_mm=(2, 1.5), shade=0.4)
    left, top, right, _ = printed.box_mm
    scale = min((right - left) / _USUAL_MM, 1.0)
    middle = top + LABEL_MM / 2 + 0.3
    draw_arrow(page, left + 2.6 * scale, middle, 2.6 * scale)
    text(page, left + 4.8 * scale, middle, "this side up", 7 * scale)
    text(page, right - 1.5 * scale, middle, f"{marker.id}", 10 * scale, align="right", bold=True)


def draw_arrow(page: Page, x: float, y: float, tall_mm: float, shade: float = 0.0) -> None:
    """Draw an arrow that points up, its middle at x and y."""
    half, wing, stem = tall_mm / 2, tall_mm * 0.42, tall_mm * 0.13
    head = y - half + tall_mm * 0.5
    shape = [
        (0, y - half),
        (wing, head),
        (stem, head),
        (stem, y + half),
        (-stem, y + half),
        (-stem, head),
        (-wing, head),
    ]
    fill(page, [[(x + dx, at) for dx, at in shape]], shade)
