"""Where every photo of shots that are made of several was taken from: by markers and by what neighbours show both."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

import cv2
import numpy as np

from ..arrays import Floats
from ..at_once import for_each
from ..camera.fit import FOCAL_SHARE, FittedViews, SeenCorners, Ties, fit_views
from ..camera.known_lens import lens_of_photo
from ..camera.lens import Lens
from ..camera.view import FloorToPhoto
from ..errors import MarkerError, PhotoUnfitError
from ..inputs.lens import CameraLens
from ..inputs.patch import Patch
from ..markers.arrangement import wrong_mm
from ..markers.find_markers import SeenMarker
from ..markers.find_patch import find_patch
from ..photo.read import Photo
from .ties import LEAST_MATCHES, plane_by_looks, tie

#: Markers that place a photo well enough to begin with; one is too small for what lies far from it.
PLACING = 2
#: Ties are sought first in copies that much coarser, where a photo may be off by more, then at full size, and once more
#: from where those have put the photos: a pair that two markers had off by much is found then.
STEPS = (3.0, 1.0, 1.0)


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class PlacedPhotos:
    """Views of all photos in the order given, the markers seen in each, and how far apart neighbours have a place.

    ``apart_mm`` holds for each pair of photos that overlap, by their numbers, the distances of what ties them, mm.
    """

    views: tuple[FloorToPhoto, ...]
    markers: tuple[Mapping[int, SeenMarker], ...]
    apart_mm: Mapping[tuple[int, int], Floats]


def place_photos(shots: Mapping[str, Sequence[Photo]], patch: Patch, *, lens: CameraLens | None = None) -> PlacedPhotos:
    """Find where all photos of all shots were taken from.

    Parameters
    ----------
    shots : mapping of str to sequence of Photo
        Photos by shot; those of a shot overlap.
    patch : Patch
        The patch that they show.
    lens : CameraLens, optional
        The camera's lens, where it is known.

    Returns
    -------
    PlacedPhotos
        Photos in the order of the shots.

    Raises
    ------
    MarkerError
        If markers do not lie as the patch file says, or no photo of a shot shows two of them.
    PhotoUnfitError
        If a photo shows fewer than two markers and cannot be joined to another of its shot.
    LensError
        If the lens does not go with a photo.
    """
    photos = [photo for those in shots.values() for photo in those]
    group = [k for k, those in enumerate(shots.values()) for _ in those]
    layout = {marker.id: marker.corners_mm() for marker in patch.markers}
    found = list(for_each(lambda photo: find_patch(photo.pixels, patch), photos))
    markers = [one.used if one.agree else {} for one in found]
    corners = [_corners(photo, those, layout) for photo, those in zip(photos, markers, strict=True)]
    lenses = None if lens is None else [lens_of_photo(lens, photo) for photo in photos]
    views = _start(photos, group, corners, lenses)
    pairs = [(i, k) for i, k in combinations(range(len(photos)), 2) if group[i] == group[k]]
    fitted: FittedViews | None = None
    ties: list[Ties] = []
    for coarser in STEPS:
        ties = _ties(photos, group, pairs, views, coarser)
        fitted = fit_views(corners, lenses, ties, views)
        views = list(fitted.views)
    assert fitted is not None
    _check_joined(photos, group, ties)
    _check_markers(photos, markers, corners, fitted)
    apart: dict[tuple[int, int], Floats] = {}
    for one, off in zip(ties, fitted.apart_mm, strict=True):
        pair = one.first, one.second
        apart[pair] = np.concatenate([apart[pair], off]) if pair in apart else off
    return PlacedPhotos(views=fitted.views, markers=tuple(markers), apart_mm=apart)


def _corners(photo: Photo, markers: Mapping[int, SeenMarker], layout: Mapping[int, Floats]) -> SeenCorners:
    none = np.zeros((0, 2))
    return SeenCorners(
        np.concatenate([none, *(layout[number] for number in markers)]),
        np.concatenate([none, *(marker.corners_px for marker in markers.values())]),
        np.repeat([marker.sigma_px for marker in markers.values()], 4),
        (photo.pixels.shape[1], photo.pixels.shape[0]),
    )


def _start(
    photos: Sequence[Photo], group: Sequence[int], corners: Sequence[SeenCorners], lenses: Sequence[Lens] | None
) -> list[FloorToPhoto]:
    """Views of all photos by their own markers or, of those that show too few, by what they share with another."""
    usual = [_usual_lens(shot.size_px) for shot in corners] if lenses is None else lenses
    views: dict[int, FloorToPhoto] = {}
    for k, shot in enumerate(corners):
        if len(shot.floor_mm) >= 4 * PLACING:
            plane = cv2.findHomography(shot.floor_mm, usual[k].undistort(shot.photo_px))[0]
            views[k] = FloorToPhoto(np.asarray(plane, float), usual[k])
    waiting = [k for k in range(len(photos)) if k not in views]
    while waiting:
        joins: dict[int, tuple[FloorToPhoto, int]] = {}
        for k in waiting:
            for i in (i for i in views if group[i] == group[k]):
                plane, agree = plane_by_looks(photos[i].pixels, photos[k].pixels)
                if agree >= max(LEAST_MATCHES, (joins[k][1] if k in joins else 0) + 1):
                    joins[k] = FloorToPhoto(plane @ views[i].homography, usual[k]), agree
        if not joins:
            _refuse(photos, group, waiting, views)
        views |= {k: view for k, (view, _) in joins.items()}
        waiting = [k for k in waiting if k not in joins]
    return [views[k] for k in range(len(photos))]


def _usual_lens(size_px: tuple[int, int]) -> Lens:
    width, height = size_px
    return Lens(((width - 1) / 2, (height - 1) / 2), (FOCAL_SHARE * max(size_px),) * 2)


def _refuse(
    photos: Sequence[Photo], group: Sequence[int], waiting: Sequence[int], views: Mapping[int, FloorToPhoto]
) -> None:
    names = ", ".join(photos[k].name for k in waiting)
    if not any(group[k] == group[waiting[0]] for k in views):
        raise MarkerError(
            f"{names}: no photo of this shot shows two of the patch's markers, whole and uncovered. Retake them with "
            "markers in view."
        )
    raise PhotoUnfitError(
        f"{names}: shows fewer than two markers, and its floor is not found again in the other photos of the shot. "
        "Let neighbouring photos share a third of what they show, or lay a marker where it is seen."
    )


def _ties(
    photos: Sequence[Photo],
    group: Sequence[int],
    pairs: Sequence[tuple[int, int]],
    views: Sequence[FloorToPhoto],
    coarser: float,
) -> list[Ties]:
    def of(pair: tuple[int, int]) -> tuple[Ties, ...]:
        i, k = pair
        shown = photos[i].pixels, photos[k].pixels
        return tie(pair, shown, (views[i], views[k]), coarser=coarser, group=group[i])

    return [one for found in for_each(of, pairs) for one in found]


def _check_joined(photos: Sequence[Photo], group: Sequence[int], ties: Sequence[Ties]) -> None:
    """Refuse a photo that nothing ties to the others of its shot."""
    tied = {number for one in ties for number in (one.first, one.second)}
    for k, photo in enumerate(photos):
        if k not in tied and group.count(group[k]) > 1:
            raise PhotoUnfitError(
                f"{photo.name}: nothing in it is found again in the other photos of the shot. Let neighbouring photos "
                "share a third of what they show, taken in one light."
            )


def _check_markers(
    photos: Sequence[Photo],
    markers: Sequence[Mapping[int, SeenMarker]],
    corners: Sequence[SeenCorners],
    fitted: FittedViews,
) -> None:
    """Refuse markers that contradict the patch file once all photos are joined."""
    for photo, those, shot, view, off in zip(photos, markers, corners, fitted.views, fitted.residuals, strict=True):
        if not those:
            continue
        off_mm = np.hypot(*off.T) * view.mm_per_px(shot.floor_mm)
        each = np.sqrt((off_mm.reshape(-1, 4) ** 2).mean(axis=1))
        for (number, _), far, quad in zip(those.items(), each, shot.floor_mm.reshape(-1, 4, 2), strict=True):
            if far > wrong_mm(quad):
                raise MarkerError(
                    f"{photo.name}: marker {number} lies {far:.0f} mm from where the patch file has it, by the photos "
                    "that were joined. Measure the markers' places again, or put it back and retake the photos."
                )
