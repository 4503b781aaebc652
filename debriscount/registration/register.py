"""Registration as a whole: from the photos of a run to floor views that lie on one another."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

import cv2
import numpy as np
from numpy.typing import NDArray

from ..arrays import Floats, Mask
from ..at_once import for_each
from ..camera.fit import FittedViews
from ..camera.view import FloorToPhoto, camera_place
from ..errors import PhotoUnfitError
from ..flags import Flag
from ..inputs.lens import CameraLens
from ..inputs.patch import MARGIN, Patch, zone_in_patch
from ..markers.white import paper_colour
from ..photo.colour import luminance_view
from ..photo.read import Photo
from .align import Texture, floor_likeness, improve_shift, no_shift, residual_mm, texture_of, texture_pull
from .grid import FloorGrid
from .locate import LocatedShots, locate_shots
from .resample import FINER, Shift, floor_grid, light_near, look_up, photo_view, resample

#: A marker's quiet zone is at least a module wide, a sixth of its side; half the side is kept clear on every side, so
#: that a hand's breadth of paper is not taken for debris.
PAPER = 1.0
ROUNDS = 2
#: Share of the patch that a photo must show: the rest is a rim narrower than a zone border is known.
WHOLE = 0.998
#: Every so many pixels it is looked up where a joined photo shows something.
SHOWN_STEP = 4


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class RegisteredShots:
    """Floor views of one run on a common raster.

    ``views`` holds linear light of shape grid.shape + (3,) by shot name; ``shown`` of shape grid.shape is True where
    every shot shows the place and no marker's paper lies; ``usable`` is that less what is behind a wall or no floor;
    ``markers_seen`` and ``residual_mm`` what each fit rests on and leaves; ``cameras`` where each shot was taken from,
    as `camera_place` gives it, missing for shots without markers and for those joined of several photos.
    ``place_u_mm`` is the standard uncertainty of a coordinate at the patch's border, the same error in all shots, for
    they are laid on one of them; ``apart_mm`` how far each may lie from that one. ``located`` is what was found of the
    markers, None for shots without any; ``paper`` of shape (3,) is the linear colour of their paper in the shot that
    the others are laid on, None where it is unknown.
    ``photo_mm_per_px`` is what a pixel of the coarsest photo spans, and ``shifts`` what lays each shot on the one that
    the others are laid on: for views as fine as the photos.
    """

    grid: FloorGrid
    views: dict[str, NDArray[np.float32]]
    shown: Mask
    usable: Mask
    markers_seen: dict[str, tuple[int, ...]]
    residual_mm: dict[str, float]
    likeness: dict[str, float | None]
    warnings: tuple[Flag, ...]
    cameras: Mapping[str, Floats] = field(default_factory=dict)
    place_u_mm: float = 0.0
    apart_mm: Mapping[str, float] = field(default_factory=dict)
    located: LocatedShots | None = None
    paper: Floats | None = None
    photo_mm_per_px: float = 0.0
    shifts: Mapping[str, Shift | None] = field(default_factory=dict)


def register_shots(
    photos: Mapping[str, Photo],
    patch: Patch,
    *,
    rim_mm: float = 0.0,
    grain_mm: float | None = None,
    lens: CameraLens | None = None,
    progress: Callable[[float], None] = lambda _: None,
) -> RegisteredShots:
    """Find the markers, fit the floor plane and align all shots on the floor's texture.

    Parameters
    ----------
    photos : mapping of str to Photo
        By shot name, in the order of the shots.
    patch : Patch
        The patch that all of them show.
    rim_mm : float
        How far the floor views reach beyond margin and walls: a large grain.
    grain_mm : float, optional
        Diameter of the smallest grains, if it is known: floor views are no finer than it asks for.
    lens : CameraLens, optional
        The camera's lens, where it is known; otherwise it is told from the markers.
    progress : callable, optional
        Told the share done, 0 to 1.

    Returns
    -------
    RegisteredShots

    Raises
    ------
    MarkerError
        If a photo shows fewer than three of the patch's markers, or they lie otherwise than the
        patch file says.
    LensError
        If the lens does not go with a photo.
    PhotoUnfitError
        If a photo does not show the whole patch.
    """
    located = locate_shots(photos, patch, lens=lens)
    warnings = list(located.warnings)
    progress(0.2)
    grid = floor_grid(patch, located.fitted.views, rim_mm, grain_mm)
    reference = "blank" if "blank" in photos else list(photos)[-1]
    clear, floor = _clear_of_paper(patch, located, grid), _bare_floor(patch, grid)
    for name, photo in photos.items():
        if photo.shows is not None:
            clear &= _shown(photo.shows, located.views[name], grid)
    models = {n: (located.views[n], located.residual_mm[n]) for n in photos}
    view, seen_there = resample(photos[reference].pixels, models[reference][0], grid)
    laid = {reference: _Laid(view, seen_there, models[reference][1], None, None)}
    target, usable = _log(luminance_view(view)), clear & floor & seen_there
    texture = texture_of(target, grid.mm_per_px)
    progress(0.4)

    def lay(name: str) -> _Laid:
        return _lay(photos[name].pixels, *models[name], grid, target, texture, usable)

    others = [name for name in photos if name != reference]
    for step, (name, result) in enumerate(zip(others, for_each(lay, others), strict=True)):
        laid[name] = result
        progress(0.4 + 0.6 * (step + 1) / len(others))
    for name, photo in photos.items():
        warnings += _check_view(name, photo, patch, grid, laid[name].seen)
    shown = np.logical_and.reduce([clear, *(one.seen for one in laid.values())])
    return RegisteredShots(
        grid=grid,
        views={n: laid[n].view for n in photos},
        shown=shown,
        usable=shown & floor,
        markers_seen={n: tuple(sorted(located.markers[n])) for n in photos},
        residual_mm={n: laid[n].residual_mm for n in photos},
        likeness={n: laid[n].likeness for n in photos},
        warnings=tuple(warnings),
        cameras={n: camera_place(models[n][0]) for n, photo in photos.items() if photo.shows is None},
        place_u_mm=_border_u_mm(located.fitted, list(photos).index(reference), patch),
        apart_mm={n: 0.0 if n == reference else laid[n].residual_mm for n in photos},
        located=located,
        paper=paper_colour(photos[reference].pixels, [m.corners_px for m in located.seen[reference].values()]),
        photo_mm_per_px=floor_grid(patch, located.fitted.views, rim_mm).mm_per_px,
        shifts={n: laid[n].shift for n in photos},
    )


def views_for_the_eye(photos: Mapping[str, Photo], registered: RegisteredShots) -> dict[str, NDArray[np.uint8]]:
    """The sRGB views of all shots but the blank, as fine as the photos and of the same floor; none if all are so fine.

    ``photos`` are those that were registered, by their markers.
    """
    grid, own_mm = registered.grid, registered.photo_mm_per_px
    if registered.located is None or grid.mm_per_px <= FINER * own_mm:
        return {}
    views = registered.located.views
    as_fine = grid.in_columns(round(grid.width_px * grid.mm_per_px / own_mm))
    return {
        name: photo_view(photo.pixels, views[name], as_fine, registered.shifts[name])
        for name, photo in photos.items()
        if name != "blank"
    }


def _border_u_mm(fitted: FittedViews, shot: int, patch: Patch) -> float:
    """Root mean square of the uncertainty of places along the patch's border in a shot, mm."""
    # Nine places a side: uncertainty changes smoothly along it.
    share = np.linspace(0, 1, 9)[:, None]
    corners = patch.corners_mm()
    border = np.concatenate([a + share * (b - a) for a, b in zip(corners, np.roll(corners, -1, axis=0), strict=True)])
    return float(np.sqrt((fitted.place_u_mm(shot, border) ** 2).mean()))


def _check_view(name: str, photo: Photo, patch: Patch, grid: FloorGrid, seen: Mask) -> list[Flag]:
    """Refuse a photo that cuts the patch; warn of one that cuts the margin."""
    zone = patch.zone_codes(grid.x_mm()[None, :], grid.y_mm()[:, None])
    inside, margin = zone_in_patch(zone), zone == MARGIN
    share = float(seen[inside].mean())
    if share < WHOLE:
        raise PhotoUnfitError(
            f"{photo.name}: shows only {100 * share:.0f} % of the patch; the rest lies outside the picture. "
            "Retake it with the whole patch in view."
        )
    if margin.any() and seen[margin].mean() < WHOLE:
        share = 100 * seen[margin].mean()
        sentence = f"shows only {share:.0f} % of the margin; debris flung into the rest is not seen in any shot"
        return [Flag(code="margin-cut", severity="note", sentence=sentence, shot=name)]
    return []


@dataclass(frozen=True, slots=True, eq=False)
class _Laid:
    """A shot laid on the reference: floor view, where the photo shows it, what is left, likeness of floors, shift."""

    view: NDArray[np.float32]
    seen: Mask
    residual_mm: float
    likeness: float | None
    shift: Shift | None


def _lay(
    pixels: NDArray[np.uint8],
    view: FloorToPhoto,
    corner_residual_mm: float,
    grid: FloorGrid,
    target: NDArray[np.float32],
    texture: Texture,
    usable: Mask,
) -> _Laid:
    """Resample a photo and align it to the reference's brightness ``target``, of that texture."""
    prior_mm = max(3 * corner_residual_mm, grid.mm_per_px)
    shift: Shift = no_shift(grid)
    left = None
    near = light_near(pixels, view, grid)
    luminance = near.luminance()
    for _ in range(ROUNDS):
        light, seen = look_up(luminance, view, grid, shift)
        pull = texture_pull(target, _log(light), usable & seen, grid)
        shift = improve_shift(shift, pull, grid.mm_per_px, prior_mm)
        left = residual_mm(pull, grid.mm_per_px)
    floor_view, seen = look_up(near, view, grid, shift)
    own = texture_of(_log(luminance_view(floor_view)), grid.mm_per_px)
    likeness = floor_likeness(texture, own, usable & seen, grid.mm_per_px)
    return _Laid(floor_view, seen, corner_residual_mm if left is None else left, likeness, shift)


def _shown(shows: Mask, view: FloorToPhoto, grid: FloorGrid) -> Mask:
    """Where a photo shows something, on the raster of the floor view."""
    places = np.stack(np.meshgrid(grid.x_mm()[::SHOWN_STEP], grid.y_mm()[::SHOWN_STEP]), axis=-1)
    inner = cv2.erode(shows.astype(np.uint8), np.ones((2 * SHOWN_STEP + 1,) * 2, np.uint8))
    across, down = cv2.split(view.project(places).astype(np.float32))
    found = cv2.remap(inner, across, down, cv2.INTER_NEAREST, borderMode=cv2.BORDER_CONSTANT, borderValue=(0,))
    return np.repeat(np.repeat(found, SHOWN_STEP, axis=0), SHOWN_STEP, axis=1)[: grid.height_px, : grid.width_px] > 0


def _log(luminance: NDArray[np.float32]) -> NDArray[np.float32]:
    # Below a thousandth of white a photo shows its noise alone.
    return np.asarray(np.log(np.maximum(luminance, np.float32(1e-3))), np.float32)


def _bare_floor(patch: Patch, grid: FloorGrid) -> Mask:
    """Where the patch file has floor: before the walls, and where nothing stands on it."""
    x, y = grid.x_mm()[None, :], grid.y_mm()[:, None]
    front = patch.is_floor(x, y)
    for wall in patch.walls:
        distance = patch.to_side_mm(wall, x, y)
        # A place belongs to the patch at its left and top side, and no longer at its right and bottom one.
        front &= distance >= 0 if wall in ("left", "top") else distance > 0
    return front


def _clear_of_paper(patch: Patch, located: LocatedShots, grid: FloorGrid) -> Mask:
    """Where no marker's paper lies, neither in its place nor where a shot shows it instead."""
    quads = [marker.corners_mm() for marker in patch.markers]
    for name, those in located.seen.items():
        quads += [located.views[name].floor_mm(marker.corners_px) for marker in those.values()]
    clear = np.ones(grid.shape, np.uint8)
    for quad in quads:
        center = quad.mean(axis=0)
        paper = grid.to_px(center + (quad - center) * (1 + PAPER))
        cv2.fillConvexPoly(clear, np.round(paper).astype(np.int32), (0,))
    return clear.astype(bool)
