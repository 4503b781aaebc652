"""Which square is printed on which page, and where on it."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from ..inputs.patch import Marker
from .paper import Box, check_fits_page, paper_box_mm, printed_box_mm

#: Between two papers, mm, so that a cut along one line does not meet the other.
GAP_MM = 4.0


@dataclass(frozen=True, slots=True)
class Printed:
    """A square on a page: its centre and the outline of its paper, mm from the page's top-left corner."""

    marker: Marker
    center_mm: tuple[float, float]
    box_mm: Box


def lay_pages(markers: Sequence[Marker], paper: str) -> list[list[Printed]]:
    """Lay squares out in rows, as many to a page as fit.

    Parameters
    ----------
    markers : sequence of Marker
        In the order in which they are printed.
    paper : str
        One of ``PAGES_MM``.

    Returns
    -------
    list of list of Printed
        One list a page.

    Raises
    ------
    SheetError
        A square does not fit a page, or the paper is unknown.
    """
    left, top, right, bottom = printed_box_mm(paper)
    pages: list[list[Printed]] = [[]]
    x, y, row_mm = left, top, 0.0
    for marker in (replace(laid, turned_deg=0.0) for laid in markers):  # however it is laid, it is printed upright
        check_fits_page(marker, paper)
        box = paper_box_mm(marker)
        width, height = box[2] - box[0], box[3] - box[1]
        if x + width > right + 1e-9:
            x, y, row_mm = left, y + row_mm + GAP_MM, 0.0
        if y + height > bottom + 1e-9:
            pages.append([])
            x, y, row_mm = left, top, 0.0
        center = (x + marker.center_mm[0] - box[0], y + marker.center_mm[1] - box[1])
        pages[-1].append(Printed(marker, center, (x, y, x + width, y + height)))
        x, row_mm = x + width + GAP_MM, max(row_mm, height)
    return pages
