"""Where the camera looks, frame by frame: the markers are watched, and found anew where it was moved."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from ..arrays import Floats
from ..camera.fit import SeenCorners, fit_views
from ..camera.lens import Lens
from ..camera.view import FloorToPhoto
from ..inputs.patch import Patch
from ..markers.find_markers import SeenMarker
from ..markers.find_patch import find_patch

#: Shift of the markers' pictures, px, from which the camera counts as moved: a third of a pixel moves the rim of a
#: grain of five by a fifteenth of its area to one side and away at the other.
MOVED_PX = 0.35
#: Height of the correlation's peak above which a marker is seen in its place; hidden ones stay below 0.1.
_SEEN = 0.3
#: Side of a watched picture, in sides of its marker's.
_WATCHED = 1.5
#: How much farther than that markers may seem to move, in a shadow's rim, where too few are seen to place the camera.
_ROUGHLY = 3.0
#: Markers that fix a view.
_NEEDED = 3


@dataclass(frozen=True, slots=True, eq=False)
class Watched:
    """A marker's picture as it was, and where: the corner of the crop, px, and its grey values."""

    corner_px: tuple[int, int]
    grey: NDArray[np.float32]
    window: NDArray[np.float32]

    @classmethod
    def of(cls, bgr: NDArray[np.uint8], corners_px: Floats) -> "Watched":
        """Watch the marker with these corners."""
        middle = corners_px.mean(axis=0)
        half = int(np.ceil(_WATCHED / 2 * np.linalg.norm(corners_px - np.roll(corners_px, 1, axis=0), axis=1).mean()))
        height, width = bgr.shape[:2]
        column, row = (
            int(np.clip(round(c) - half, 0, max(0, n - 2 * half))) for c, n in zip(middle, (width, height), strict=True)
        )
        grey = _grey(bgr[row : row + 2 * half, column : column + 2 * half])
        window = np.asarray(cv2.createHanningWindow(grey.shape[::-1], cv2.CV_32F), np.float32)
        return cls((column, row), grey, window)

    def shift_px(self, bgr: NDArray[np.uint8]) -> Floats | None:
        """How far the picture has moved, shape (2,); None where it is not seen."""
        column, row = self.corner_px
        height, width = self.grey.shape
        now = _grey(bgr[row : row + height, column : column + width])
        shift, peak = cv2.phaseCorrelate(self.grey, now, self.window)
        return np.array(shift) if peak > _SEEN else None


def _grey(bgr: NDArray[np.uint8]) -> NDArray[np.float32]:
    return np.asarray(cv2.cvtColor(np.ascontiguousarray(bgr), cv2.COLOR_BGR2GRAY), np.float32)


@dataclass(frozen=True, slots=True, eq=False)
class Place:
    """A place of the camera: its view of the floor, and the markers' pictures as seen from there."""

    view: FloorToPhoto
    watched: Mapping[int, Watched]

    def off_px(self, bgr: NDArray[np.uint8]) -> float | None:
        """How far a frame's markers have moved in the picture, px; None where no marker is seen in its place."""
        shifts = [shift for one in self.watched.values() if (shift := one.shift_px(bgr)) is not None]
        if not shifts:
            return None
        # The middle one of them, so that a marker pushed by the machine does not move the camera.
        return float(np.hypot(*np.median(np.array(shifts), axis=0)))


def followed(bgr: NDArray[np.uint8], place: Place, others: Iterable[Place], patch: Patch, lens: Lens) -> Place | None:
    """From where a frame was taken, once it was known of the frame before.

    Parameters
    ----------
    bgr : ndarray of uint8, shape (H, W, 3)
        The frame.
    place : Place
        From where the last one was taken.
    others : iterable of Place
        Where else the camera is known to have been.
    patch : Patch
    lens : Lens

    Returns
    -------
    Place or None
        One of the given if it is there; None where that cannot be told.
    """
    off = place.off_px(bgr)
    if off is not None and off <= MOVED_PX:
        return place
    anew = found_anew(bgr, patch, lens)
    if anew is None:
        return place if off is not None and off <= _ROUGHLY * MOVED_PX else None
    near = min((place, *others), key=lambda one: slid_px(one, anew, patch))
    return near if slid_px(near, anew, patch) <= MOVED_PX else anew


def slid_px(one: Place, other: Place, patch: Patch) -> float:
    """How far the markers seen from ``other`` lie in the picture from where they would be seen from ``one``, px.

    The middle one of them; where no marker is seen they would tell little.
    """
    corners = [marker.corners_mm() for marker in patch.markers if marker.id in other.watched]
    off = [one.view.project(c).mean(axis=0) - other.view.project(c).mean(axis=0) for c in corners]
    return float(np.median(np.hypot(*np.array(off).T)))


def place_of(bgr: NDArray[np.uint8], view: FloorToPhoto, seen: Mapping[int, SeenMarker]) -> Place:
    """The place from which a frame shows these markers."""
    return Place(view, {number: Watched.of(bgr, marker.corners_px) for number, marker in seen.items()})


def found_anew(bgr: NDArray[np.uint8], patch: Patch, lens: Lens) -> Place | None:
    """Find the markers of a frame whose camera was moved.

    Parameters
    ----------
    bgr : ndarray of uint8, shape (H, W, 3)
        The frame.
    patch : Patch
        Its markers.
    lens : Lens
        The camera's, as learned before.

    Returns
    -------
    Place or None
        None where fewer than three markers are seen as the patch file says.
    """
    found = find_patch(np.asarray(cv2.cvtColor(bgr, cv2.COLOR_BGR2RGB), np.uint8), patch)
    if not found.agree or len(found.used) < _NEEDED:
        return None
    layout = {marker.id: marker.corners_mm() for marker in patch.markers}
    corners = SeenCorners(
        np.concatenate([layout[number] for number in found.used]),
        np.concatenate([marker.corners_px for marker in found.used.values()]),
        np.repeat([marker.sigma_px for marker in found.used.values()], 4),
        (bgr.shape[1], bgr.shape[0]),
    )
    return place_of(bgr, fit_views([corners], [lens]).views[0], found.used)
