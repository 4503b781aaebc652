"""The printed squares of OpenCV's dictionary DICT_4X4_50 as outlines, each on its paper with label and cutting line."""

import cv2
import numpy as np

from ..arrays import Floats, Mask
from .draw import Page, box_corners, fill, outline, text
from .pages import Printed
from .paper import LABEL_MM, MODULES


def square_ink(number: int) -> Mask:
    """Return which modules of a square are black, shape (6, 6), rows from the top.

    Parameters
    ----------
    number : int
        0 to 49.
    """
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    return np.asarray(cv2.aruco.generateImageMarker(dictionary, number, MODULES) == 0, np.bool_)


def outlines(ink: Mask) -> list[Floats]:
    """Return the borders between black and white as closed loops, so that black modules have no seams.

    Parameters
    ----------
    ink : ndarray of bool, shape (H, W)
        True where it is black.

    Returns
    -------
    list of ndarray of shape (N, 2)
        Corners (x, y) in modules from the top-left corner, y down, with black to the right of the way along them: black
        parts run clockwise as seen, holes the other way, and touch themselves and one another at corners only. Filled
        together they give the ink by either fill rule.
    """
    padded = np.pad(ink, 1)
    steps: dict[tuple[int, int], list[tuple[int, int]]] = {}

    def note(start: tuple[int, int], end: tuple[int, int]) -> None:
        steps.setdefault(start, []).append(end)

    for row, column in np.argwhere(padded):
        x, y = int(column) - 1, int(row) - 1
        if not padded[row - 1, column]:
            note((x, y), (x + 1, y))
        if not padded[row, column + 1]:
            note((x + 1, y), (x + 1, y + 1))
        if not padded[row + 1, column]:
            note((x + 1, y + 1), (x, y + 1))
        if not padded[row, column - 1]:
            note((x, y + 1), (x, y))
    loops = []
    while steps:
        loops.append(_walk(steps, next(iter(steps))))
    return loops


def _walk(steps: dict[tuple[int, int], list[tuple[int, int]]], start: tuple[int, int]) -> Floats:
    """Take one closed way out of ``steps``; corners that lie straight on are left out."""
    way = [start]
    while True:
        here = way[-1]
        ahead = steps[here]
        back = (here[0] - way[-2][0], here[1] - way[-2][1]) if len(way) > 1 else (0, 0)
        # Where two black modules touch at a corner, turn right: around the module that the way came along.
        following = next(
            (end for end in ahead if (end[0] - here[0], end[1] - here[1]) == (-back[1], back[0])), ahead[0]
        )
        ahead.remove(following)
        if not ahead:
            del steps[here]
        if following == start:
            break
        way.append(following)
    corners = np.array(way, float)
    turns = np.any(corners - np.roll(corners, 1, axis=0) != np.roll(corners, -1, axis=0) - corners, axis=1)
    return corners[turns]


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
