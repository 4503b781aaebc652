"""Where each shot was taken from: its markers, held against the patch file and the other shots, and its view."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from ..at_once import for_each
from ..camera.fit import FittedViews, SeenCorners, fit_views
from ..camera.known_lens import check_lens_fits, lens_of_photo, lens_warnings
from ..camera.lens import Lens
from ..camera.misplaced import misplaced_marker
from ..camera.view import FloorToPhoto, camera_place
from ..errors import MarkerError
from ..flags import Flag
from ..inputs.lens import CameraLens
from ..inputs.patch import Patch
from ..markers.arrangement import Corners, Fitting, off_mm, wrong_mm
from ..markers.find_markers import SeenMarker, find_markers
from ..markers.find_patch import find_patch
from ..markers.moved import Moves, moved_markers
from ..photo.read import Photo

#: Markers that fix plane and lens of a photo.
NEEDED = 3
#: How far paper stands off the floor where it is not flat, mm: from another place it then seems to lie elsewhere
#: (common practice, no source).
CURL_MM = 0.3
#: Fits, each without the markers that the last one found to have moved.
_ROUNDS = 2


@dataclass(frozen=True, slots=True)
class LeftOut:
    """A marker seen but not used: how far it lies from its place, mm.

    ``why`` is "moved" where it lay elsewhere in other shots, "misplaced" where it does in none.
    """

    id: int
    off_mm: float
    why: str


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class LocatedShots:
    """Where the patch lies in each shot, by shot name.

    ``markers`` are those used; ``missing`` the numbers not seen; ``left_out`` those seen that do not lie where
    they should; ``views`` the fitted cameras and ``residual_mm`` what is left between them and the corners. ``seen``
    holds all markers that are seen, used or not.
    """

    markers: Mapping[str, Mapping[int, SeenMarker]]
    missing: Mapping[str, tuple[int, ...]]
    left_out: Mapping[str, tuple[LeftOut, ...]]
    views: Mapping[str, FloorToPhoto]
    residual_mm: Mapping[str, float]
    fitted: FittedViews
    warnings: tuple[Flag, ...]
    seen: Mapping[str, Mapping[int, SeenMarker]]


def locate_shots(photos: Mapping[str, Photo], patch: Patch, *, lens: CameraLens | None = None) -> LocatedShots:
    """Find the markers of every shot and fit the floor plane.

    Parameters
    ----------
    photos : mapping of str to Photo
        By shot name, in the order of the shots.
    patch : Patch
        The patch that all of them show.
    lens : CameraLens, optional
        The camera's lens, where it is known.

    Returns
    -------
    LocatedShots

    Raises
    ------
    MarkerError
        If a photo shows fewer than three of the patch's markers, or they lie otherwise than the
        patch file says.
    LensError
        If the lens does not go with a photo.
    """
    layout = {marker.id: marker.corners_mm() for marker in patch.markers}
    found = list(for_each(lambda photo: find_patch(photo.pixels, patch), photos.values()))
    for photo, one in zip(photos.values(), found, strict=True):
        _check_found(photo, patch, one, layout)
    shots = _Shots(
        tuple(photos.values()),
        layout,
        None if lens is None else [lens_of_photo(lens, photo) for photo in photos.values()],
    )
    used, moves = _without_moved(shots, found)
    used, misplaced = _without_misplaced(shots, used)
    corners = shots.corners(used)
    fitted = fit_views(corners, shots.lens)
    if lens is not None:
        check_lens_fits(lens, fitted, fit_views(corners))
    _check_places(photos, patch, used, corners, fitted, layout)
    left_out = [
        _left_out(one, those, moved, misplaced, layout)
        for one, those, moved in zip(found, used, moves.moved, strict=True)
    ]
    names = list(photos)
    about_lens = [] if lens is None else lens_warnings(lens, photos)
    warnings = [*about_lens, *_turned(names, found), *_told(names, left_out), *_undecided(names, moves, used)]
    return LocatedShots(
        markers=dict(zip(names, used, strict=True)),
        missing={
            n: tuple(sorted(set(layout) - set(f.used) - set(f.strays))) for n, f in zip(names, found, strict=True)
        },
        left_out=dict(zip(names, left_out, strict=True)),
        views=dict(zip(names, fitted.views, strict=True)),
        residual_mm=dict(zip(names, fitted.residual_mm, strict=True)),
        fitted=fitted,
        warnings=tuple(warnings),
        seen={name: {**one.used, **one.strays} for name, one in zip(names, found, strict=True)},
    )


def _check_found(photo: Photo, patch: Patch, found: Fitting, layout: Corners) -> None:
    """Refuse a photo in which no three markers lie as they should."""
    seen = {**found.used, **found.strays}
    if len(seen) < NEEDED:
        missing = ", ".join(str(i) for i in sorted(set(layout) - set(seen)))
        there = ", ".join(str(i) for i in sorted(seen)) or "none"
        mirrored = len(find_markers(np.ascontiguousarray(photo.pixels[:, ::-1]), set(layout))) >= NEEDED
        advice = (
            "The photo is mirrored: switch that off in the camera, and retake it."
            if mirrored
            else "At least three must be in the photo, whole and uncovered; retake it with all of them in view."
        )
        raise MarkerError(
            f"{photo.name}: found {len(seen)} of the patch's {len(layout)} markers (seen: {there}; missing: "
            f"{missing}). {advice}"
        )
    if not found.agree or len(found.used) < NEEDED:
        off = {**off_mm(found.used, layout, found.used), **off_mm(found.used, layout, found.strays)}
        worst = max(off, key=lambda number: off[number])
        _refuse_layout(photo, patch, worst, off[worst])


def _refuse_layout(photo: Photo, patch: Patch, number: int, off: float) -> None:
    raise MarkerError(
        f"{photo.name}: the markers do not lie as the patch file says; marker {number} is off by {off:.0f} mm, or the "
        f"others are. Is it a photo of patch {patch.name!r}? Measure the markers' places again."
    )


#: Markers used of every shot, by number.
Used = list[dict[int, SeenMarker]]


@dataclass(frozen=True, slots=True, eq=False)
class _Shots:
    photos: tuple[Photo, ...]
    layout: Corners
    lens: list[Lens] | None

    def corners(self, used: Sequence[Mapping[int, SeenMarker]]) -> list[SeenCorners]:
        """Corners of the markers of every shot."""
        return [
            SeenCorners(
                np.concatenate([self.layout[number] for number in those]),
                np.concatenate([marker.corners_px for marker in those.values()]),
                np.repeat([marker.sigma_px for marker in those.values()], 4),
                (photo.pixels.shape[1], photo.pixels.shape[0]),
            )
            for photo, those in zip(self.photos, used, strict=True)
        ]


def _without_moved(shots: _Shots, found: Sequence[Fitting]) -> tuple[Used, Moves]:
    """Leave out the markers that lay elsewhere in one shot than in others."""
    seen = [{**one.used, **one.strays} for one in found]
    used = [dict(one.used) for one in found]
    moves = Moves(({},) * len(found), ())
    for _ in range(_ROUNDS if len(found) > 1 else 0):
        views = fit_views(shots.corners(used), shots.lens).views
        moves = _compare(views, seen, shots.layout)
        last = used
        used = [_stayed(*each, shots.layout) for each in zip(shots.photos, found, moves.moved, strict=True)]
        if [set(those) for those in used] == [set(those) for those in last]:
            break
    return used, moves


def _compare(views: Sequence[FloorToPhoto], seen: Sequence[Mapping[int, SeenMarker]], layout: Corners) -> Moves:
    places = [
        {number: view.floor_mm(marker.corners_px) for number, marker in those.items()}
        for view, those in zip(views, seen, strict=True)
    ]
    u_mm = [
        {n: marker.sigma_px * float(view.mm_per_px(layout[n]).mean()) for n, marker in those.items()}
        for view, those in zip(views, seen, strict=True)
    ]
    cameras = [camera_place(view) for view in views]

    def difference(i: int, k: int) -> dict[int, float]:
        # Height over distance is how far a point that stands off the floor seems to move with the camera.
        tilt = float(np.hypot(*(cameras[i][:2] / cameras[i][2] - cameras[k][:2] / cameras[k][2])))
        return {
            n: float(np.hypot(np.hypot(u_mm[i][n], u_mm[k][n]), CURL_MM * tilt)) for n in set(seen[i]) & set(seen[k])
        }

    return moved_markers(places, layout, difference)


def _stayed(photo: Photo, found: Fitting, moved: Mapping[int, float], layout: Corners) -> dict[int, SeenMarker]:
    """Return the markers of a shot that have not moved; all, if too few are left and they moved but a little."""
    kept = {number: marker for number, marker in found.used.items() if number not in moved}
    if len(kept) >= NEEDED:
        return kept
    worst = max((n for n in moved if n in found.used), key=lambda n: moved[n])
    if moved[worst] > wrong_mm(layout[worst]):
        raise MarkerError(
            f"{photo.name}: marker {worst} lies {moved[worst]:.0f} mm from where it lies in the other shots, and fewer "
            "than three others are seen. Put it back and retake the photo; lay out four markers or more."
        )
    return dict(found.used)


def _without_misplaced(shots: _Shots, used: Used) -> tuple[Used, dict[int, float]]:
    """Leave out the markers that lie elsewhere than the patch file says."""
    misplaced: dict[int, float] = {}
    while True:
        corners = shots.corners(used)
        worst = misplaced_marker([list(those) for those in used], corners, fit_views(corners, shots.lens), shots.lens)
        if worst is None:
            return used, misplaced
        misplaced[worst[0]] = worst[1]
        used = [{number: marker for number, marker in those.items() if number != worst[0]} for those in used]


def _check_places(
    photos: Mapping[str, Photo],
    patch: Patch,
    used: Used,
    corners: Sequence[SeenCorners],
    fitted: FittedViews,
    layout: Corners,
) -> None:
    """Refuse markers that together contradict the patch file."""
    for photo, those, shot, view, off in zip(
        photos.values(), used, corners, fitted.views, fitted.residuals, strict=True
    ):
        off_px = np.hypot(off[:, 0], off[:, 1])
        each = np.sqrt(((off_px * view.mm_per_px(shot.floor_mm)).reshape(-1, 4) ** 2).mean(axis=1))
        for number, far in zip(those, each, strict=True):
            if far > wrong_mm(layout[number]):
                _refuse_layout(photo, patch, number, float(far))


def _left_out(
    found: Fitting,
    used: Mapping[int, SeenMarker],
    moved: Mapping[int, float],
    misplaced: Mapping[int, float],
    layout: Corners,
) -> tuple[LeftOut, ...]:
    """What is seen in a shot but not used."""
    gone = sorted({*found.used, *found.strays} - set(used))
    strays = off_mm(used, layout, {number: found.strays[number] for number in gone if number in found.strays})
    return tuple(
        LeftOut(n, moved[n], "moved")
        if n in moved
        else LeftOut(n, misplaced[n] if n in misplaced else strays[n], "misplaced")
        for n in gone
    )


def _turned(names: Sequence[str], found: Sequence[Fitting]) -> list[Flag]:
    how = {1: "a quarter turn to the right", 2: "upside down", 3: "a quarter turn to the left"}
    told = []
    for name, one in zip(names, found, strict=True):
        for quarters in sorted(set(one.turned.values())):
            numbers = ", ".join(str(n) for n in sorted(one.turned) if one.turned[n] == quarters)
            sentence = f"marker {numbers} lies {how[quarters]}; this is corrected for, but lay it upright"
            told.append(Flag(code="marker-turned", severity="note", sentence=sentence, shot=name))
    return told


def _told(names: Sequence[str], left_out: Sequence[Sequence[LeftOut]]) -> list[Flag]:
    than = {"moved": "where it lies in the other shots", "misplaced": "where the patch file has it"}
    todo = {"moved": "Fix it to the floor", "misplaced": "Measure its place again"}
    return [
        Flag(
            code=f"marker-{one.why}",
            severity="note",
            sentence=f"marker {one.id} lies {one.off_mm:.1f} mm from {than[one.why]} and is left out. {todo[one.why]}",
            shot=name,
        )
        for name, those in zip(names, left_out, strict=True)
        for one in those
    ]


def _undecided(names: Sequence[str], moves: Moves, used: Used) -> list[Flag]:
    told = [
        Flag(
            code="marker-moved",
            severity="doubtful",
            sentence=f"the markers seen in {names[i]} and {names[k]} disagree by {off:.1f} mm; one has moved, and it "
            "cannot be told which. Zone borders are uncertain by as much. Put it back and retake the photo; more "
            "markers would tell",
        )
        for i, k, off in moves.undecided
    ]
    return told + [
        Flag(
            code="marker-moved",
            severity="doubtful",
            sentence=f"marker {number} lies {off:.1f} mm from where it lies in the other shots, and too few others are "
            "seen to do without it; zone borders are uncertain by as much",
            shot=name,
        )
        for name, moved, those in zip(names, moves.moved, used, strict=True)
        for number, off in sorted(moved.items())
        if number in those
    ]
