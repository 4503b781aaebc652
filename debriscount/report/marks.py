"""Marks of debris that stayed: rings and crosses round single grains, outlines where grains are many."""

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
_CROWDED = 0.25  # of the area that marks may take; denser ones would touch and hide the floor


def ring_radii(lengths_px: Floats) -> Floats:
    """Radius of each grain's mark, px, shape (N,), from how long the grain is."""
    return np.maximum(np.asarray(lengths_px, float) / 2 + _GAP_PX, _LEAST_RING_PX)


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
