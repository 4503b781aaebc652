"""Find a patch's markers in one photo, each where the others say that it should lie."""

import numpy as np
from numpy.typing import NDArray

from ..inputs.patch import Patch
from .arrangement import Corners, Fitting, fitting_markers, floor_plane
from .find_markers import SeenMarker, marker_search
from .seek import seek_marker

#: How far from its place a covered marker is sought, in sides of it, where two others say where that is, and three: two
#: tell directions across the line between them badly.
REACH = {2: 2.0, 3: 1.0}


def find_patch(pixels: NDArray[np.uint8], patch: Patch) -> Fitting:
    """Find the markers of a patch in a photo.

    Parameters
    ----------
    pixels : ndarray of uint8, shape (H, W, 3)
        sRGB photo.
    patch : Patch
        Numbers, sizes and places of the markers.

    Returns
    -------
    Fitting
        Those that lie as the patch file says, and others of the same numbers. Where some are missing they are sought in
        their places, and then in a larger copy of the photo, until that finds no more.
    """
    layout = {marker.id: marker.corners_mm() for marker in patch.markers}
    sought: dict[int, SeenMarker] = {}
    fitting, earlier = Fitting({}), 0
    for step in marker_search(pixels, set(layout)):
        seen = {number: (*step.seen.get(number, ()), *_one(sought, number)) for number in layout}
        fitting = fitting_markers(seen, layout)
        if step.copy_done and len(fitting.used) < len(layout):
            sought |= _seek(pixels, patch, fitting, layout)
            seen = {number: (*step.seen.get(number, ()), *_one(sought, number)) for number in layout}
            fitting = fitting_markers(seen, layout)
        enough = fitting.agree and len(fitting.used) >= 3
        if enough and len(fitting.used) == len(layout):
            break
        if step.copy_done:
            if enough and len(fitting.used) == earlier:
                break
            earlier = len(fitting.used)
    return fitting


def _one(sought: dict[int, SeenMarker], number: int) -> tuple[SeenMarker, ...]:
    return (sought[number],) if number in sought else ()


def _seek(pixels: NDArray[np.uint8], patch: Patch, fitting: Fitting, layout: Corners) -> dict[int, SeenMarker]:
    if not fitting.agree or len(fitting.used) < min(REACH):
        return {}
    to_photo = np.asarray(np.linalg.inv(floor_plane(fitting.used, layout)), float)
    reach = REACH[min(len(fitting.used), max(REACH))]
    found = {}
    for marker in patch.markers:
        if marker.id not in fitting.used:
            one = seek_marker(pixels, marker, to_photo, reach * marker.side_mm)
            if one is not None:
                found[marker.id] = one
    return found
