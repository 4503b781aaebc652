"""Floor views of pictures without markers: a region of the photo at a scale that is given."""

import math
import re
from collections.abc import Mapping

import cv2
import numpy as np
from numpy.typing import NDArray

from ..errors import CountOptionsError, PhotoFileError
from ..inputs.patch import Patch
from ..photo.colour import linear_pixels
from ..photo.read import LEAST_SIDE_PX, Photo
from ..registration.grid import FloorGrid
from ..registration.register import RegisteredShots
from ..registration.resample import FINE_ENOUGH_ALONE_PX, MOST_PIXELS
from .records import Region


def parse_region(text: str) -> Region:
    """Read a region as people write it.

    Parameters
    ----------
    text : str
        "X,Y,W,H": left, top, width and height, whole pixels of the upright photo.

    Returns
    -------
    tuple of four int

    Raises
    ------
    CountOptionsError
        The text is written otherwise.
    """
    numbers = [part.strip() for part in text.split(",")]
    if len(numbers) != 4 or not all(re.fullmatch(r"[+-]?[0-9]{1,9}", number) for number in numbers):
        raise CountOptionsError(
            'region must be written "X,Y,W,H", left, top, width and height in whole pixels of the upright photo, '
            f'got "{text}".'
        )
    x, y, width, height = (int(number) for number in numbers)
    return x, y, width, height


def checked_region(photo: Photo, region: Region | None) -> Region:
    """The region, or the whole photo where none is given; CountOptionsError if the photo does not hold it."""
    photo_height, photo_width = photo.pixels.shape[:2]
    x, y, width, height = region if region is not None else (0, 0, photo_width, photo_height)
    written = f"region {x},{y},{width},{height}"
    if min(width, height) < LEAST_SIDE_PX:
        raise CountOptionsError(f"{written}: must be at least {LEAST_SIDE_PX} pixels wide and high.")
    if x < 0 or y < 0 or x + width > photo_width or y + height > photo_height:
        raise CountOptionsError(
            f"{written}: reaches beyond {photo.name}, which is {photo_width} x {photo_height} pixels once upright. "
            "Give left, top, width and height within it."
        )
    return x, y, width, height


def needed_averaging(region: Region, small_grain_px: float | None = None) -> float:
    """How many photo pixels make one of the floor view, along a side: 1, or more where that loses nothing.

    Parameters
    ----------
    region : Region
        A larger one than memory holds is averaged down to `MOST_PIXELS`.
    small_grain_px : float, optional
        Diameter of a small grain of the smallest kind, photo pixels, if it is known.

    Returns
    -------
    float
    """
    for_memory = math.sqrt(region[2] * region[3] / MOST_PIXELS)
    return max(1.0, for_memory, (small_grain_px or 0.0) / FINE_ENOUGH_ALONE_PX)


def region_views(photos: Mapping[str, Photo], region: Region, mm_per_px: float, averaging: float) -> RegisteredShots:
    """Floor views of a region, for photos taken from one place.

    Parameters
    ----------
    photos : mapping of str to Photo
        By shot name.
    region : Region
        Within all of them.
    mm_per_px : float
        Scale of the photos, mm per pixel.
    averaging : float
        Photo pixels to a pixel of the floor view, along a side; 1 or more.

    Returns
    -------
    RegisteredShots
        On a grid whose (0, 0) mm is the region's top-left corner; without markers.

    Raises
    ------
    PhotoFileError
        The photos are not of one size.
    """
    first, *others = photos.values()
    for other in others:
        if other.pixels.shape != first.pixels.shape:
            sizes = [f"{p.name} {p.pixels.shape[1]} x {p.pixels.shape[0]}" for p in (first, other)]
            raise PhotoFileError(
                f"{sizes[0]} and {sizes[1]} pixels: without a patch, photo and blank must be taken from the same place "
                "and be of one size. Leave the blank out, or give a patch with markers."
            )
    views = {name: _linear_view(photo.pixels, region, averaging) for name, photo in photos.items()}
    height, width = next(iter(views.values())).shape[:2]
    step = mm_per_px * averaging
    everywhere = np.ones((height, width), bool)
    grid = FloorGrid(step / 2, step / 2, step, height, width)
    return RegisteredShots(
        grid=grid,
        views=views,
        shown=everywhere,
        usable=everywhere,
        markers_seen={},
        residual_mm={},
        likeness={},
        warnings=(),
    )


def region_as_patch(grid: FloorGrid) -> Patch:
    """The region as a patch without walls, markers and margin, so that its zone is "patch" alone."""
    width, height = (grid.mm_per_px * n for n in (grid.width_px, grid.height_px))
    return Patch("region", width, height, (), (), edge_mm=0.0, corner_mm=0.0, margin_mm=0.0)


def _linear_view(pixels: NDArray[np.uint8], region: Region, averaging: float) -> NDArray[np.float32]:
    x, y, width, height = region
    light = linear_pixels(np.ascontiguousarray(pixels[y : y + height, x : x + width]))
    if averaging == 1:
        return light
    # By factor, not by size, so that a pixel spans the same floor both ways; a last row or column may be cut short.
    return np.asarray(cv2.resize(light, None, fx=1 / averaging, fy=1 / averaging, interpolation=cv2.INTER_AREA))
