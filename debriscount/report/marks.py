"""Marks of debris that stayed: rings and crosses for single grains, discs filled in part where grains are many."""

import cv2
import numpy as np
from numpy.typing import NDArray

from ..arrays import Floats, Mask
from .canvas import SHIFT, fixed
from .caption import Painter
from .palette import Color, contrasting

_GAP_PX = 3.5  # between a grain's rim and its ring, for the halo
_LEAST_RING_PX = 5.0
_ARM = 0.75  # length of a cross' arm over its ring's radius
_CELL_GRAINS = 10  # in a cell of discs, so that the share of one is known to about 15 points
_FINEST_CELL, _COARSEST_CELL = 1 / 56, 1 / 36  # of the picture's width: a disc is seen, and a strip between lanes too
_CROWDED = 0.25  # of the area that marks may take; denser ones would touch and hide the floor


def ring_radii(diameters_px: Floats) -> Floats:
    """Radius of each grain's mark, px, shape (N,)."""
    return np.maximum(np.asarray(diameters_px, float) / 2 + _GAP_PX, _LEAST_RING_PX)


def too_many(radii_px: Floats, area_px: float) -> bool:
    """Whether marks of these radii on so large an area would hide one another."""
    return bool((np.pi * ((1 + _ARM / 2) * radii_px) ** 2).sum() > _CROWDED * area_px)


def draw_marks(
    image: NDArray[np.uint8],
    places_px: Floats,
    radii_px: Floats,
    untouched: Mask,
    colors: tuple[Color, Color],
) -> None:
    """Draw a ring round every untouched grain and a cross, open in its middle, over every other; in place.

    Parameters
    ----------
    image : ndarray of uint8, shape (H, W, 3)
        The picture.
    places_px : ndarray of shape (N, 2)
        Columns and rows.
    radii_px : ndarray of shape (N,)
        As `ring_radii` gives them.
    untouched : ndarray of bool, shape (N,)
        Which get a ring.
    colors : (colour, colour)
        Of rings and of crosses.
    """
    for extra in (2, 0):  # the halo first, so that none lies over a mark
        ring, cross = (contrasting(color)[0] if extra else color for color in colors)
        centers = fixed(places_px[untouched]).tolist()
        for center, radius in zip(centers, fixed(radii_px[untouched]).tolist(), strict=True):
            cv2.circle(image, center, radius, ring, 2 + extra, cv2.LINE_AA, SHIFT)
        arms = fixed(_arms(places_px[~untouched], radii_px[~untouched]))
        cv2.polylines(image, list(arms), False, cross, 2 + extra, cv2.LINE_AA, SHIFT)


def draw_ways(image: NDArray[np.uint8], starts_px: Floats, ends_px: Floats, color: Color) -> None:
    """Draw a thin line from each place, shape (N, 2), columns and rows, to each other one, in place."""
    lines = list(fixed(np.stack([starts_px, ends_px], axis=1)))
    for thickness, shade in ((3, contrasting(color)[0]), (1, color)):
        cv2.polylines(image, lines, False, shade, thickness, cv2.LINE_AA, SHIFT)


def _arms(places: Floats, radii: Floats) -> Floats:
    """Ends of the four arms of each cross, shape (4 N, 2, 2)."""
    way = np.array([[1, 1], [1, -1], [-1, 1], [-1, -1]]) / np.sqrt(2)
    inner, outer = (radii * (1 - _ARM / 2), radii * (1 + _ARM / 2))
    ends = places[:, None, None] + np.stack([inner, outer], 1)[:, None, :, None] * way[None, :, None]
    return np.asarray(ends.reshape(-1, 2, 2))


def cell_px(number: int, area_px: float, width_px: int) -> int:
    """Side of the cells that discs stand in: ten grains on average, within what can be seen."""
    side = np.sqrt(_CELL_GRAINS * area_px / max(number, 1))
    return round(float(np.clip(side, _FINEST_CELL * width_px, _COARSEST_CELL * width_px)))


def draw_discs(
    image: NDArray[np.uint8],
    places_px: Floats,
    areas: Floats,
    untouched: Floats,
    side: int,
    origin_px: tuple[float, float],
    colors: tuple[Color, Color],
) -> None:
    """Draw a disc into every cell of a raster, as large as the debris in it; its untouched share is filled.

    Parameters
    ----------
    image : ndarray of uint8, shape (H, W, 3)
        The picture, changed in place.
    places_px : ndarray of shape (N, 2)
        Columns and rows of grains.
    areas : ndarray of shape (N,)
        Their areas.
    untouched : ndarray of shape (N,)
        Their untouched shares, of which only means need be right.
    side : int
        Of a cell, px.
    origin_px : (float, float)
        Column and row of a corner of some cell, so that none lies across the patch's first borders.
    colors : (colour, colour)
        Of the filled part and of the rest's outline.
    """
    first = np.mod(origin_px, side) - side
    height, width = (-(-n // side) + 1 for n in image.shape[:2])
    column, row = np.clip(np.floor((places_px - first) / side).astype(int), 0, (width - 1, height - 1)).T
    cell = row * width + column
    total = np.bincount(cell, areas, minlength=height * width)
    stayed = np.bincount(cell, areas * untouched, minlength=height * width)
    some = np.nonzero(total > 0)[0]
    if not some.size:
        return
    most = np.percentile(total[some], 98)
    radius = np.clip(0.44 * side * np.sqrt(total[some] / most), 2, 0.46 * side)
    share = np.clip(stayed[some] / total[some], 0, 1)
    centers = first + np.column_stack([some % width, some // width]) * side + (side - 1) / 2
    halo = contrasting(colors[1])[0]
    for center, r, part in zip(fixed(centers).tolist(), fixed(radius).tolist(), share.tolist(), strict=True):
        _disc(image, (center[0], center[1]), r, part, (*colors, halo))


def _disc(
    image: NDArray[np.uint8], center: tuple[int, int], radius: int, share: float, colors: tuple[Color, Color, Color]
) -> None:
    """Draw a disc with its share filled clockwise from the top; place and radius in eighths of a pixel."""
    filled, rest, halo = colors
    width = 2 if radius > 6 * 2**SHIFT else 1
    cv2.circle(image, center, radius, halo, width + 2, cv2.LINE_AA, SHIFT)
    cv2.circle(image, center, radius, rest, width, cv2.LINE_AA, SHIFT)
    if share > 0:
        whole = (radius + 2 ** (SHIFT - 1) * width,) * 2  # over the outline as well
        cv2.ellipse(image, center, whole, -90, 0, 360 * share, filled, cv2.FILLED, cv2.LINE_AA, SHIFT)


def ring_sample(color: Color, debris: Color, floor: Color) -> Painter:
    """Legend sample of a grain in its ring."""
    return _grain_sample(True, color, debris, floor)


def cross_sample(color: Color, debris: Color, floor: Color) -> Painter:
    """Legend sample of a grain under its cross."""
    return _grain_sample(False, color, debris, floor)


def _grain_sample(untouched: bool, color: Color, debris: Color, floor: Color) -> Painter:
    def paint(image: NDArray[np.uint8], left: int, top: int, width: int, height: int) -> None:
        image[top : top + height, left : left + width] = floor
        middle = np.array([[left + (width - 1) / 2, top + (height - 1) / 2]])
        cv2.circle(
            image,
            tuple(fixed(middle)[0].tolist()),
            round(2**SHIFT * 0.16 * height),
            debris,
            cv2.FILLED,
            cv2.LINE_AA,
            SHIFT,
        )
        draw_marks(image, middle, np.array([0.32 * height]), np.array([untouched]), (color, color))

    return paint


def way_sample(color: Color, floor: Color) -> Painter:
    """Legend sample of the line from a loss to a moved grain."""

    def paint(image: NDArray[np.uint8], left: int, top: int, width: int, height: int) -> None:
        image[top : top + height, left : left + width] = floor
        row, inset = top + height / 2, 0.2 * width
        draw_ways(image, np.array([[left + inset, row]]), np.array([[left + width - inset, row]]), color)

    return paint


def disc_sample(share: float, colors: tuple[Color, Color], floor: Color) -> Painter:
    """Legend sample of a disc."""

    def paint(image: NDArray[np.uint8], left: int, top: int, width: int, height: int) -> None:
        image[top : top + height, left : left + width] = floor
        center = fixed(np.array([left + (width - 1) / 2, top + (height - 1) / 2])).tolist()
        _disc(
            image, (center[0], center[1]), round(2**SHIFT * 0.36 * height), share, (*colors, contrasting(colors[1])[0])
        )

    return paint
