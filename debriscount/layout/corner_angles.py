"""Corner angles to be taped down where a patch on open floor has its corners, at true size."""

import numpy as np

from ..arrays import Floats
from .draw import Page, fill, line, outline, text
from .frame import framed_page
from .paper import printed_box_mm
from .patch_among import CORNERS

#: Length and width of an angle's arms, mm: seen from where one stands, and narrower than any margin that is of use.
ARM_MM, WIDE_MM = 70.0, 20.0
_GAP_MM = 12.0


def draw_angles(paper: str, heading: str, number: int, count: int, patch_file: str) -> Page:
    """Return a page with the four angles, each to be cut along its dashed line; within `plain_style`.

    An angle lies outside of the patch: its inner edge runs along the patch's border, and its inner corner is the
    patch's.

    Parameters
    ----------
    paper : str
        One of ``PAGES_MM``.
    heading : str
        A person's words; cut to fit.
    number, count : int
        The page, counted from 1, and how many there are.
    patch_file : str
        Name of the patch file, for the words beside the ruler.
    """
    page = framed_page(paper, heading, number, count, patch_file)
    left, top, _, _ = printed_box_mm(paper)
    step = ARM_MM + WIDE_MM + _GAP_MM
    for place, name in enumerate(CORNERS):
        column, row = place in (1, 2), place in (2, 3)
        corner = np.array([left + column * step, top + row * step])
        _draw_angle(page, corner, name, flip=(column, row))
    return page


def _draw_angle(page: Page, at: Floats, name: str, flip: tuple[bool, bool]) -> None:
    """Draw an angle in a box of its own whose top-left corner is ``at``."""
    size = ARM_MM + WIDE_MM

    def placed(points: list[tuple[float, float]]) -> Floats:
        own = np.array(points, float)
        for axis, flipped in enumerate(flip):
            if flipped:
                own[:, axis] = size - own[:, axis]
        return np.asarray(own + at)

    shape = [(0, 0), (size, 0), (size, WIDE_MM), (WIDE_MM, WIDE_MM), (WIDE_MM, size), (0, size)]
    outline(page, placed(shape), 0.15, dashes_mm=(2, 1.5), shade=0.4)
    # The edge that counts is the inner one: a line along it, black on the paper's side, is its mark.
    edge = 1.2
    fill(
        page,
        [
            placed(
                [
                    (WIDE_MM, size), (WIDE_MM - edge, size), (WIDE_MM - edge, WIDE_MM - edge),
                    (size, WIDE_MM - edge), (size, WIDE_MM), (WIDE_MM, WIDE_MM),
                ]
            )
        ],
    )  # fmt: skip
    line(page, placed([(0, 0), (WIDE_MM, WIDE_MM)]), 0.15, shade=0.4)
    (x, y), *_ = placed([(size / 2 + WIDE_MM / 2, WIDE_MM / 2)])
    text(page, float(x), float(y), f"{name} corner", 9, align="center", bold=True)
