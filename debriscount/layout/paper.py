"""The paper of a printed square, and the pages that it is printed on."""

import numpy as np

from ..errors import SheetError
from ..inputs.patch import Marker

Box = tuple[float, float, float, float]

#: Sides of a 4x4 square in modules: four of code and a black border on either side.
MODULES = 6
#: Modules of white paper around the black square: one is OpenCV's least.
QUIET_MODULES = 1.2
#: Half the paper over the black square's side.
HALF_PAPER = 0.5 + QUIET_MODULES / MODULES
#: Strip above the white rim that says which square it is and which way up it lies.
LABEL_MM = 4.5

#: Width and height of a page, mm: ISO 216, and ANSI/ASME Y14.1 sizes A and B (8.5 by 11 and 11 by 17 inches).
PAGES_MM = {"a4": (210.0, 297.0), "letter": (215.9, 279.4), "a3": (297.0, 420.0), "tabloid": (279.4, 431.8)}
#: Printers leave a rim of the page white: few of them more than 6 mm (common practice, no source).
RIM_MM = 10.0
#: Room for the heading, and for the ruler and what it says.
HEAD_MM, FOOT_MM = 9.0, 48.0


def paper_box_mm(marker: Marker) -> Box:
    """Left, top, right and bottom of a square's paper, cut along its dashed line and laid in its place, mm."""
    (x, y), half = marker.center_mm, HALF_PAPER * marker.side_mm
    if marker.turned_deg:  # the label may be on any side
        reach = float(np.ptp(marker.box_mm(half + LABEL_MM)[:, 0])) / 2
        return x - reach, y - reach, x + reach, y + reach
    return x - half, y - half - LABEL_MM, x + half, y + half


def page_mm(paper: str) -> tuple[float, float]:
    """Width and height of a page, mm.

    Parameters
    ----------
    paper : str
        One of ``PAGES_MM``, in capitals or not.

    Raises
    ------
    SheetError
        The paper is unknown.
    """
    if paper.strip().lower() not in PAGES_MM:
        raise SheetError(f'paper "{paper}" is unknown. Known are: {", ".join(PAGES_MM)}.')
    return PAGES_MM[paper.strip().lower()]


def printed_box_mm(paper: str) -> Box:
    """Left, top, right and bottom of what a page has room for between heading and ruler, mm."""
    width, height = page_mm(paper)
    return RIM_MM, RIM_MM + HEAD_MM, width - RIM_MM, height - RIM_MM - FOOT_MM


def largest_side_mm(paper: str) -> float:
    """Side of the largest black square whose paper fits a page, mm, cut to a tenth."""
    left, top, right, bottom = printed_box_mm(paper)
    return int(5 * min(right - left, bottom - top - LABEL_MM) / HALF_PAPER) / 10


def check_fits_page(marker: Marker, paper: str) -> None:
    """Refuse a square that is too large for a page.

    Raises
    ------
    SheetError
        With the largest side that fits.
    """
    most = largest_side_mm(paper)
    if marker.side_mm > most:
        others = [name for name in PAGES_MM if largest_side_mm(name) >= marker.side_mm]
        advice = f"Take {others[0]} paper" if others else "Have a print shop print it"
        raise SheetError(
            f"marker {marker.id}: a square of {marker.side_mm:g} mm does not fit {paper.strip().lower()} paper with its"
            f" white rim; {most:g} mm is the most. {advice}, or give a smaller side_mm."
        )
