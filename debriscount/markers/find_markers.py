"""Find printed squares in a photo: dark quadrilaterals first, then their corners to a fraction of a pixel."""

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from ..arrays import Floats
from .edges import BURNT, LightCrop, light_crop
from .modules import Reading, black_behind, may_be_marker, read_marker
from .square import MODULES, Square, fit_square, side_px, spread_px

#: Copies of a photo are searched from a quarter of its size to its own.
REDUCTIONS = (4, 2, 1)
#: Short side that a copy must have: a smaller one holds too little.
LEAST_COPY_PX = 450
#: Mean distance between the corners of two outlines, as a share of their length, below which they are one. A sheet's
#: rim lies 1.2 modules or more outside the black square, 0.07 of its outline, and must not stand for it.
ONE_OUTLINE = 0.05
#: Shortest side of an outline, in pixels of the copy: a marker's modules are then 1.5 px wide, and come out only on a
#: larger copy.
LEAST_SIDE_PX = 9


@dataclass(frozen=True, slots=True, eq=False)
class Outline:
    """A quadrilateral: its corners clockwise, shape (4, 2), and by how much they may be off; px of the photo.

    ``id`` is the marker that it is read as, whose own top left is then the first corner, or None.
    """

    corners_px: Floats
    off_px: float
    id: int | None


def outlines(grey: NDArray[np.uint8]) -> Iterator[list[Outline]]:
    """Outlines found in copies of a photo, from the smallest copy to the photo itself.

    Parameters
    ----------
    grey : ndarray of uint8, shape (H, W)
        The photo.

    Yields
    ------
    list of Outline
        Those of one copy, those that are read as markers first.
    """
    for reduction in REDUCTIONS:
        if reduction > 1 and min(grey.shape) / reduction < LEAST_COPY_PX:
            continue
        copy = cv2.resize(grey, None, fx=1 / reduction, fy=1 / reduction, interpolation=cv2.INTER_AREA)
        parameters = cv2.aruco.DetectorParameters()
        parameters.minMarkerPerimeterRate = 4 * LEAST_SIDE_PX / max(copy.shape)
        parameters.minMarkerDistanceRate = ONE_OUTLINE
        dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
        read, ids, unread = cv2.aruco.ArucoDetector(dictionary, parameters).detectMarkers(copy)
        numbers = [] if ids is None else [int(n) for n in np.ravel(ids)]
        named = list(zip(read, [*numbers], strict=True)) + [(quad, None) for quad in unread]
        # A pixel of the copy is centred between pixels of the photo; corners are good to about half a pixel of it.
        yield [
            Outline((np.reshape(quad, (4, 2)).astype(float) + 0.5) * reduction - 0.5, 0.5 + 0.5 * reduction, number)
            for quad, number in named
        ]


#: A marker's modules that may be other than they should be, of 16 of the code, 20 of the border and 28 of the paper
#: around it: grains lie on it, or glare. Markers of the dictionary differ in four of the code or more.
WRONG_CODE, WRONG_BORDER, WRONG_RING = 1, 5, 8
#: Share of the code that must be made of the paper around the square and of the black of its border.
PRINTED = 0.75
#: Outlines of one copy that are looked at though OpenCV cannot read them, the largest first: a mosaic has thousands.
MOST_UNNAMED = 500
#: Share of the edges' width by which they may be off where all the paper is burnt out: half of it is then somewhere
#: below, at twice what the photo can hold 0.26 of that width.
BURNT_OFF = 0.2


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class SeenMarker:
    """A marker in a photo.

    ``corners_px`` of shape (4, 2) is top left, then clockwise as the marker is read; pixel centres
    lie at whole numbers. ``sigma_px`` is the standard uncertainty of a corner. ``spread_px`` is the
    10 to 90 % width of the edges in linear light, median over the sides; ``paper`` and ``ink`` are the
    linear luminance, 0 to 1, beside the edges and of the black inside them; None where not told.
    ``wrong`` is how many of its modules and those of the paper around it are not as they should be, of 64.
    """

    id: int
    corners_px: Floats
    sigma_px: float
    spread_px: float | None = None
    paper: float | None = None
    ink: float | None = None
    wrong: int = 0


def find_markers(pixels: NDArray[np.uint8], wanted: Collection[int]) -> dict[int, SeenMarker]:
    """Find markers of DICT_4X4_50 and refine their corners.

    Parameters
    ----------
    pixels : ndarray of uint8, shape (H, W, 3)
        sRGB photo.
    wanted : collection of int
        Marker numbers of the patch; others are passed over. The search goes from a small copy of
        the photo to larger ones and ends as soon as all are found.

    Returns
    -------
    dict
        The wanted markers that were seen, by number; of several with one number the clearest.
    """
    found: dict[int, tuple[SeenMarker, ...]] = {}
    for step in marker_search(pixels, wanted):
        found = step.seen
        if set(found) >= set(wanted):
            break
    return {number: min(those, key=_blemish) for number, those in sorted(found.items())}


@dataclass(frozen=True, slots=True, eq=False)
class SearchStep:
    """All markers seen so far, by number, several of a number where it was printed more than once.

    ``copy_done`` says that the copy of the photo that was looked at holds no more.
    """

    seen: dict[int, tuple[SeenMarker, ...]]
    copy_done: bool


def marker_search(pixels: NDArray[np.uint8], wanted: Collection[int]) -> Iterator[SearchStep]:
    """Look for markers in one copy of a photo after the other, as `find_markers` does.

    Yields
    ------
    SearchStep
        Two for each copy: outlines that OpenCV reads as markers first, then those that it does not. Break off once
        enough is seen.
    """
    grey = np.asarray(cv2.cvtColor(pixels, cv2.COLOR_RGB2GRAY), np.uint8)
    found: dict[int, tuple[SeenMarker, ...]] = {}
    for several in outlines(grey):
        named = [one for one in several if one.id in wanted]
        unnamed = sorted((one for one in several if one.id is None), key=lambda one: -side_px(one.corners_px))
        for part in (named, unnamed[:MOST_UNNAMED]):
            for one in part:
                marker = marker_at(pixels, one, wanted)
                if marker is not None:
                    found[marker.id] = _with(found.get(marker.id, ()), marker)
            yield SearchStep(dict(found), part is not named)


def marker_at(pixels: NDArray[np.uint8], outline: Outline, wanted: Collection[int]) -> SeenMarker | None:
    """Refine an outline and read it; None where it is no wanted marker."""
    module = side_px(outline.corners_px) / MODULES
    # A module of white rim and half of one to spare, as far as the outline may be off, and what resampling needs.
    crop = light_crop(pixels, outline.corners_px, 1.5 * module + 2 * outline.off_px + 4)
    if outline.id is None and not may_be_marker(crop, outline.corners_px):
        return None
    square = fit_square(crop, outline.corners_px, outline.off_px)
    if square is None or not _plausible(square.corners_px):
        return None
    reading = read_marker(crop, square.corners_px, wanted)
    if not _genuine(reading):
        return None
    return seen_marker(crop, square, reading)


def seen_marker(crop: LightCrop, square: Square, reading: Reading) -> SeenMarker:
    """Put together what a square is read as and what its edges tell."""
    spread = spread_px(crop, square, black_behind(reading.id, reading.turns))
    sigma = square.sigma_px
    if square.paper > BURNT:
        sigma = float(np.hypot(sigma, BURNT_OFF * (spread or 0.0)))
    corners = np.roll(square.corners_px, -reading.turns, axis=0)
    return SeenMarker(
        id=reading.id,
        corners_px=corners,
        sigma_px=sigma,
        spread_px=spread,
        paper=square.paper,
        ink=square.ink,
        wrong=reading.wrong,
    )


def _blemish(marker: SeenMarker) -> tuple[int, float]:
    return marker.wrong, marker.sigma_px


def _plausible(corners_px: Floats) -> bool:
    """Whether a square lying on the floor can look like this: convex, and no side much shorter than another."""
    sides = np.roll(corners_px, -1, axis=0) - corners_px
    nexts = np.roll(sides, -1, axis=0)
    turns = sides[:, 0] * nexts[:, 1] - sides[:, 1] * nexts[:, 0]
    length = np.hypot(sides[:, 0], sides[:, 1])
    return bool((turns > 0).all() and length.min() > 0.5 * length.max())


def _genuine(reading: Reading) -> bool:
    as_marked = reading.code <= WRONG_CODE and reading.border <= WRONG_BORDER and reading.ring <= WRONG_RING
    return as_marked and reading.printed >= PRINTED


def _with(others: Sequence[SeenMarker], marker: SeenMarker) -> tuple[SeenMarker, ...]:
    """Add a marker to those of its number; of two at one place keep the clearer."""
    middle, side = marker.corners_px.mean(axis=0), side_px(marker.corners_px)
    same = [o for o in others if np.linalg.norm(o.corners_px.mean(axis=0) - middle) < side / 2]
    best = min([marker, *same], key=_blemish)
    return (*(o for o in others if all(o is not s for s in same)), best)
