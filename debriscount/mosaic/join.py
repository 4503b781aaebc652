"""Joining as a whole: from photos that overlap to one photo a shot, seen from straight above."""

import hashlib
from collections.abc import Mapping, Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from ..arrays import Floats, Mask
from ..camera.view import FloorToPhoto
from ..errors import PhotoUnfitError
from ..flags import Flag
from ..inputs.lens import CameraLens
from ..inputs.patch import Patch
from ..layout.paper import HALF_PAPER
from ..photo.colour import srgb_pixels
from ..photo.read import Photo
from ..photo.settings import differing_settings
from ..registration.grid import FloorGrid
from ..registration.resample import resample
from .light import Gain, match_light
from .place import PlacedPhotos, place_photos
from .records import Joined, JoinedPart
from .seams import choose_photos, cost_of
from .ties import floor_box_mm

#: Most pixels of a joined photo: a room of 6 by 5 m at 1 mm.
MOST_PIXELS = 40_000_000
#: Floor shown around patch, margin and papers, mm.
AROUND_MM = 30.0
#: Light is matched and seams are laid on copies that much coarser.
COARSER = 4
#: From how far on two photos have a marker in different places, mm: joined photos agree to half a millimetre, and a
#: marker at a photo's rim to twice that.
MOVED_MM = 3.0
#: Share of the patch that no photo shows from which that is told: less is a rim narrower than a border is known.
TOLD_UNSEEN = 0.002


def one_photo_each(
    shots: Mapping[str, Sequence[Photo]], patch: Patch, *, lens: CameraLens | None = None
) -> tuple[dict[str, Photo], dict[str, Joined]]:
    """One photo for each shot, and how those fit that are joined of several; as `join_shots`."""
    several = {name: those for name, those in shots.items() if len(those) > 1}
    made = join_shots(several, patch, lens=lens) if several else {}
    photos = {name: made[name][0] if name in made else those[0] for name, those in shots.items()}
    return photos, {name: joined for name, (_, joined) in made.items()}


def join_shots(
    shots: Mapping[str, Sequence[Photo]], patch: Patch, *, lens: CameraLens | None = None
) -> dict[str, tuple[Photo, Joined]]:
    """Join the photos of every shot.

    Parameters
    ----------
    shots : mapping of str to sequence of Photo
        Photos by shot, two or more each, which overlap.
    patch : Patch
        The patch that they show together.
    lens : CameraLens, optional
        The camera's lens, where it is known.

    Returns
    -------
    dict of str to (Photo, Joined)
        Photos of one size, in which the patch lies alike.

    Raises
    ------
    MarkerError, PhotoUnfitError, LensError
        As `place_photos`; PhotoUnfitError also where each photo of a shot shows the whole patch.
    """
    placed = place_photos(shots, patch, lens=lens)
    photos = [photo for those in shots.values() for photo in those]
    grid = _joined_grid(patch, photos, placed.views)
    joined, begin = {}, 0
    for name, those in shots.items():
        own = range(begin, begin + len(those))
        _refuse_whole(those, [placed.views[k] for k in own], patch)
        joined[name] = _join(name, [photos[k] for k in own], own, placed, patch, grid)
        begin += len(those)
    return joined


def _refuse_whole(photos: Sequence[Photo], views: Sequence[FloorToPhoto], patch: Patch) -> None:
    """Refuse photos each of which shows the whole patch: they are shots of their own, such as of two passes."""
    corners = patch.corners_mm()
    for photo, view in zip(photos, views, strict=True):
        pixels, size = view.project(corners), np.array(photo.pixels.shape[1::-1])
        if (pixels < 0).any() or (pixels > size - 1).any():
            return
    names = ", ".join(photo.name for photo in photos)
    raise PhotoUnfitError(
        f"{names}: each shows the whole patch, so they are no parts of one shot. Give one photo a shot, and those "
        "after further passes as BEFORE AFTER AFTER."
    )


def _joined_grid(patch: Patch, photos: Sequence[Photo], views: Sequence[FloorToPhoto]) -> FloorGrid:
    """A raster over patch, margin and papers, about as fine as the photos."""
    steps = []
    for photo, view in zip(photos, views, strict=True):
        middle = np.array([photo.pixels.shape[1], photo.pixels.shape[0]]) / 2
        steps.append(float(view.mm_per_px(view.floor_mm(middle)[None])[0]))
    boxes = [np.reshape(patch.outer_box_mm(), (2, 2))]
    boxes += [marker.box_mm(2 * HALF_PAPER * marker.side_mm / 2)[[0, 2]] for marker in patch.markers]
    corners = np.concatenate(boxes)
    low, high = corners.min(axis=0) - AROUND_MM, corners.max(axis=0) + AROUND_MM
    step = max(float(np.median(steps)), float(np.sqrt(np.prod(high - low) / MOST_PIXELS)))
    width, height = np.ceil((high - low) / step).astype(int).tolist()
    return FloorGrid(float(low[0]), float(low[1]), step, height, width)


def _join(
    name: str, photos: Sequence[Photo], numbers: Sequence[int], placed: PlacedPhotos, patch: Patch, grid: FloorGrid
) -> tuple[Photo, Joined]:
    views = [placed.views[k] for k in numbers]
    taken_from, gains = _plan(photos, views, grid)
    pixels = np.empty((*grid.shape, 3), np.uint8)
    for number, (photo, view, gain) in enumerate(zip(photos, views, gains, strict=True), start=1):
        _lay_in(pixels, taken_from == number, photo.pixels, view, gain, grid)
    shows = taken_from > 0
    _hatch(pixels, ~shows)
    off = np.concatenate([np.zeros(0), *(v for (i, _), v in placed.apart_mm.items() if i in numbers)])
    floor = patch.inside(grid.x_mm()[None, :], grid.y_mm()[:, None])
    unseen = floor & ~shows
    share = float(unseen.sum() / max(int(floor.sum()), 1))
    parts = tuple(
        JoinedPart(
            file=photo.file,
            sha256=photo.sha256,
            markers_seen=tuple(sorted(placed.markers[k])),
            share_percent=100 * float((taken_from[floor] == number).mean()),
        )
        for number, (k, photo) in enumerate(zip(numbers, photos, strict=True), start=1)
    )
    photo = Photo(
        pixels,
        " + ".join(photo.name for photo in photos),
        _digest(photos),
        photos[0].settings,
        grey=all(photo.grey for photo in photos),
        warnings=(
            *(f"{photo.name}: {warning}" for photo in photos for warning in photo.warnings),
            *differing_settings({photo.name: photo.settings for photo in photos}),
        ),
        shows=shows,
    )
    return photo, Joined(
        parts=parts,
        ties=len(off),
        apart_mm=float(np.median(off)) if len(off) else 0.0,
        unseen=share,
        flags=(*_unseen_flags(name, unseen, share, grid), *moved_flags(name, placed, numbers)),
    )


def _digest(photos: Sequence[Photo]) -> str:
    """SHA-256 of the photos' own, one after the other; empty if any was given as an array."""
    sums = [photo.sha256 for photo in photos]
    return hashlib.sha256("".join(sums).encode()).hexdigest() if all(sums) else ""


def _plan(
    photos: Sequence[Photo], views: Sequence[FloorToPhoto], grid: FloorGrid
) -> tuple[NDArray[np.int32], tuple[Gain, ...]]:
    """Which photo each pixel is taken from, and what each photo's light is multiplied by."""
    step = COARSER * grid.mm_per_px
    half = (step - grid.mm_per_px) / 2
    coarse = FloorGrid(
        grid.x0_mm + half, grid.y0_mm + half, step, -(-grid.height_px // COARSER), -(-grid.width_px // COARSER)
    )
    x, y = coarse.x_mm(), coarse.y_mm()
    laid = [resample(photo.pixels, view, coarse) for photo, view in zip(photos, views, strict=True)]
    gains = match_light([light for light, _ in laid], [seen for _, seen in laid], x, y)
    matched = [light * gain.at(x[None, :], y[:, None]) for (light, _), gain in zip(laid, gains, strict=True)]
    costs = [
        cost_of(view, (photo.pixels.shape[1], photo.pixels.shape[0]), x, y)
        for photo, view in zip(photos, views, strict=True)
    ]
    chosen = choose_photos(costs, matched, [seen for _, seen in laid])
    fine = np.repeat(np.repeat(chosen, COARSER, axis=0), COARSER, axis=1)
    return np.ascontiguousarray(fine[: grid.height_px, : grid.width_px]), gains


def _lay_in(
    joined: NDArray[np.uint8], own: Mask, pixels: NDArray[np.uint8], view: FloorToPhoto, gain: Gain, grid: FloorGrid
) -> None:
    """Put a photo's own part into the joined one, in place."""
    low, high = (np.rint(v).astype(int) for v in grid.to_px(np.array(floor_box_mm(pixels, view))))
    left, top = np.maximum(low - 1, 0).tolist()
    right, bottom = np.minimum(high + 2, (grid.width_px, grid.height_px)).tolist()
    if right <= left or bottom <= top:
        return
    x0, y0 = grid.x0_mm + left * grid.mm_per_px, grid.y0_mm + top * grid.mm_per_px
    part = FloorGrid(x0, y0, grid.mm_per_px, bottom - top, right - left)
    light, _ = resample(pixels, view, part)
    light *= _gain_over(gain, part)
    box = (slice(top, bottom), slice(left, right))
    joined[box][own[box]] = srgb_pixels(light)[own[box]]


def _gain_over(gain: Gain, grid: FloorGrid) -> NDArray[np.float32]:
    """A gain on a raster, made from every sixteenth pixel: it is smooth, and exponentials take time."""
    sparse = gain.at(grid.x_mm()[None, ::16], grid.y_mm()[::16, None])
    to_full = np.array([[1 / 16, 0, 0], [0, 1 / 16, 0]])
    return np.asarray(
        cv2.warpAffine(
            sparse,
            to_full,
            (grid.width_px, grid.height_px),
            flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
            borderMode=cv2.BORDER_REPLICATE,
        ),
        np.float32,
    )


def _hatch(pixels: NDArray[np.uint8], unseen: Mask) -> None:
    """Draw what no photo shows as grey with lines, in place."""
    row, column = np.nonzero(unseen)
    pixels[row, column] = np.where(((row + column) % 24 < 6)[:, None], 90, 150).astype(np.uint8)


def moved_flags(name: str, placed: PlacedPhotos, numbers: Sequence[int]) -> tuple[Flag, ...]:
    """A note for each marker that photos of one shot have in different places: it was moved while they were taken.

    Parameters
    ----------
    name : str
        The shot.
    placed : PlacedPhotos
        Where all photos were taken from.
    numbers : sequence of int
        Which of them make the shot.
    """
    places: dict[int, list[Floats]] = {}
    for k in numbers:
        for marker, seen in placed.markers[k].items():
            places.setdefault(marker, []).append(placed.views[k].floor_mm(seen.corners_px).mean(axis=0))
    flags = []
    for marker, those in sorted(places.items()):
        apart = max(float(np.hypot(*(a - b))) for a in those for b in those)
        if apart > MOVED_MM:
            sentence = (
                f"marker {marker} lies {apart:.0f} mm apart in photos of {name}, so it was moved while they were taken."
                " Tape markers down, and take the photos again"
            )
            flags.append(Flag(code="moved-between", severity="note", sentence=sentence, shot=name))
    return tuple(flags)


def _unseen_flags(name: str, unseen: Mask, share: float, grid: FloorGrid) -> tuple[Flag, ...]:
    if share < TOLD_UNSEEN:
        return ()
    _, _, stats, middles = cv2.connectedComponentsWithStats(unseen.astype(np.uint8))
    largest = 1 + int(np.argmax(stats[1:, cv2.CC_STAT_AREA]))
    wide, high = (stats[largest, side] * grid.mm_per_px for side in (cv2.CC_STAT_WIDTH, cv2.CC_STAT_HEIGHT))
    x, y = middles[largest] * grid.mm_per_px + (grid.x0_mm, grid.y0_mm)
    sentence = (
        f"{100 * share:.1f} % of the patch is in no photo of {name} and is left out; the largest such place is "
        f"{wide:.0f} x {high:.0f} mm around x = {x:.0f}, y = {y:.0f} mm"
    )
    return (Flag(code="unseen", severity="note", sentence=sentence, shot=name),)
