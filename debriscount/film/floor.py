"""What a film's first and last frames teach: bare floor, and what makes colour into debris."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from ..arrays import Floats, Mask
from ..camera.lens import Lens
from ..camera.view import FloorToPhoto
from ..cover.discriminant import SHADE, SHEEN, Discriminant, cover_of, fisher_discriminant
from ..cover.kinds import KindHint
from ..cover.light import FAINTEST, stiff_gain
from ..cover.maps import CoverMaps
from ..cover.noise import FloorNoise, learn_mix, learn_noise, sigma_map
from ..flags import Flag
from ..grains.screen import screen_grains
from ..inputs.debris import DebrisKind
from ..inputs.lens import CameraLens
from ..inputs.patch import Patch
from ..photo.colour import luminance_view
from ..photo.read import Photo
from ..registration.grid import FloorGrid
from ..registration.register import RegisteredShots
from ..run.pipeline import hints_of, on_patch, strewn_floor, told_debris
from ..run.records import KindColor
from ..run.sources import Progress, named_kinds, seen_colours
from .maps import aligned_map
from .place import Place, place_of

#: Share of a grain's full cover from which on a pixel is of a grain, far above the noise of films; and how far around
#: such pixels cover is summed, px: so a frame that is compressed more, and blurs more, shows no less debris.
CORE, RIM_PX = 0.4, 2
#: Standard deviations of the film's noise that such a pixel exceeds as well: beside a joint of the floor it is loud.
SURE = 4.0
#: Width of small grains in a film from which on they can be followed, px: below, compression makes and unmakes them
#: from frame to frame. Simulated curves were off by 0.8 points at 3.9 px and by 3.6 at 3.4.
LEAST_PX = 3.5
#: Width, in small grains, below which what lies still from first to last is a joint of the floor.
THIN = 0.7
#: Change of light, natural logarithm, from which on a place of the first frame is another in the last; and the width of
#: what counts as a thing that stood in one of them, mm: clumps of debris are narrower as a rule.
_CHANGED, _THING_MM = 0.35, 100.0


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class KnownFloor:
    """The floor under the debris in the light of the film, and how debris is told from it.

    ``bare`` of shape (H, W, 3) is linear light on ``grid``; ``usable`` of shape (H, W) where debris can be judged.
    ``filters`` has one a kind, ``full`` of shape (K,) the cover that the middle of a grain reaches; ``colours`` of
    shape (K, 3) the kinds' linear colours. ``background_mm2`` is what the bare floor itself shows as debris for every
    mm² of it, shape (R,), and ``background_mm4`` its variance; ``either_mm2`` how much of what lay still from the first
    frame to the last may be debris or floor, 0 with a blank. ``start`` is where the camera stood at first.
    """

    grid: FloorGrid
    bare: NDArray[np.float32]
    usable: Mask
    filters: tuple[Discriminant, ...]
    full: tuple[float, ...]
    colours: Floats
    kinds: tuple[KindColor, ...]
    start: Place
    lens: Lens
    background_mm2: Floats
    background_mm4: Floats
    either_mm2: float
    warnings: tuple[Flag, ...]

    @property
    def rows(self) -> int:
        """Rows of debris that are told apart: all of it and, if there are several, each kind."""
        return 1 if len(self.filters) == 1 else 1 + len(self.filters)

    def debris(self, view: NDArray[np.float32]) -> NDArray[np.float32]:
        """How much of every pixel of a view in the film's light counts as debris, shape (H, W), 0 to 1."""
        return self.debris_by_kind(view)[0]

    def debris_by_kind(self, view: NDArray[np.float32]) -> list[NDArray[np.float32]]:
        """The same and, if there are several kinds, the debris of each alone; shape (H, W) each.

        A pixel counts as the kind that hides most of it.
        """
        shown = []
        for one, full in zip(self.filters, self.full, strict=True):
            cover = cover_of(one, view, self.bare)
            sure = cover > np.maximum(np.float32(CORE * full), np.float32(SURE) * one.sigma)
            grains = cv2.dilate(sure.astype(np.uint8), np.ones((2 * RIM_PX + 1,) * 2, np.uint8))
            shown.append(np.clip(cover, 0, 1, out=cover) * grains)
            shown[-1][~self.usable] = 0
        if len(shown) == 1:
            return shown
        counted = np.maximum.reduce(shown)
        most = np.argmax(shown, axis=0)
        return [counted, *(np.where(most == number, counted, np.float32(0)) for number in range(len(shown)))]


def learn_floor(
    photos: Mapping[str, Photo],
    frames: Mapping[str, NDArray[np.uint8]],
    patch: Patch,
    kinds: Sequence[DebrisKind],
    lens: CameraLens | None,
    tell: Progress,
) -> KnownFloor | None:
    """Learn floor and debris from a film's first and last clear frame and, where there is one, a blank.

    Parameters
    ----------
    photos : mapping of str to Photo
        "before" and "after", frames of the film; before them "blank", a photo or a frame of another film.
    frames : mapping of str to ndarray of uint8, shape (H, W, 3)
        The frames "before" and "after", blue, green, red.
    patch : Patch
    kinds : sequence of DebrisKind
        The kinds to look for; without any, what sets *before* off from the blank or the last frame.
    lens : CameraLens, optional
    tell : callable
        Told the share done and what is being done.

    Returns
    -------
    KnownFloor or None
        None where nothing stands out from the floor.
    """
    registered = on_patch(photos, patch, kinds, lens, tell)
    registered = _without_things(registered)
    hints = hints_of(registered, kinds, "before", "blank" if "blank" in photos else None)
    if not hints:
        return None
    strewn = strewn_floor(patch, registered)
    maps, found = told_debris(registered, hints, strewn)
    found = screen_grains(found, maps.matched, hints, maps.colours, registered.usable, strewn)
    covered = {name: one.labels > 0 for name, one in found.items()}
    if "blank" not in photos:
        lines = _lines(found["before"].kind_map > 0, found["after"].kind_map > 0, hints)
        covered = {name: mask & ~lines for name, mask in covered.items()}
    known_bare, light = _in_films_light(maps, registered)
    usable = registered.usable
    shown = {name: _as_filmed(frame, registered, name, covered[name], known_bare) for name, frame in frames.items()}
    bare = _where_bare(shown, covered, known_bare)
    difference = shown["after"] - shown["before"]
    fine = not all(hint.outlined for hint in hints)
    sigma = sigma_map(learn_noise(difference, bare, usable), bare)
    mix = np.eye(3) if fine else learn_mix(difference, sigma, usable, min(hint.size_px[0] for hint in hints))
    noise, shade = FloorNoise(sigma, mix), SHEEN if fine else SHADE
    filters = tuple(
        fisher_discriminant(bare, c.over(usable.shape) / light, noise, c.covariance, shade) for c in maps.colours
    )
    located = registered.located
    assert located is not None  # shots on a patch have markers
    middle = np.median(light[::8, ::8].reshape(-1, 3), axis=0)
    known = KnownFloor(
        grid=registered.grid,
        bare=bare,
        usable=usable,
        filters=filters,
        full=tuple(hint.least_peak for hint in hints),
        colours=np.array([c.mean for c in maps.colours]) / middle,
        kinds=seen_colours(named_kinds(kinds, hints), maps.colours),
        start=place_of(frames["before"], located.views["before"], located.markers["before"]),
        lens=located.views["before"].lens,
        background_mm2=np.zeros(0),
        background_mm4=np.zeros(0),
        either_mm2=0.0 if "blank" in photos else maps.doubt_px * registered.grid.mm_per_px**2,
        warnings=(*registered.warnings, *_too_fine(hints, registered.grid, located.views["before"], patch)),
    )
    mean, variance = _background(known, registered, maps, light, hints, strewn)
    return replace(known, background_mm2=mean, background_mm4=variance)


def _too_fine(hints: Sequence[KindHint], grid: FloorGrid, view: FloorToPhoto, patch: Patch) -> list[Flag]:
    """A flag if grains are too small in the film to be followed."""
    middle = np.array([[patch.width_mm / 2, patch.height_mm / 2]])
    small_px = min(hint.size_px[0] for hint in hints) * grid.mm_per_px / float(view.mm_per_px(middle)[0])
    if small_px >= LEAST_PX:
        return []
    return [
        Flag(
            code="fine-grains",
            severity="doubtful",
            sentence=f"small grains are {small_px:.1f} px wide in the film, and from {LEAST_PX:g} px on they can be "
            "followed. Film from nearer, or in more pixels",
        )
    ]


def _without_things(registered: RegisteredShots) -> RegisteredShots:
    """The shots without the places where a thing larger than debris stands in one of two frames."""
    mm_per_px = registered.grid.mm_per_px
    shown = [np.log(np.maximum(luminance_view(registered.views[name]), FAINTEST)) for name in ("before", "after")]
    off = shown[0] - shown[1]
    changed = (np.abs(off - np.median(off[registered.usable])) > _CHANGED).astype(np.float32)
    width = max(3, round(_THING_MM / mm_per_px))
    thing = cv2.blur(changed, (width, width)) > 0.9
    if not thing.any():
        return registered
    grown = cv2.dilate(thing.astype(np.uint8), np.ones((2 * width + 1, 2 * width + 1), np.uint8)) > 0
    return replace(registered, usable=registered.usable & ~grown, shown=registered.shown & ~grown)


def _in_films_light(maps: CoverMaps, registered: RegisteredShots) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Bare floor as the film's last frame shows it, and the factor from its light to that of the maps; (H, W, 3)."""
    view, matched = registered.views["after"], maps.matched["after"]
    light = np.where(view > FAINTEST, matched / np.maximum(view, FAINTEST), np.float32(1))
    # The factor is smooth; where a view is nearly black it is rounded.
    light = np.asarray(cv2.medianBlur(light.astype(np.float32), 5), np.float32)
    light = np.maximum(light, np.float32(1e-3))
    return np.asarray(maps.floor / light, np.float32), light


def _lines(before: Mask, after: Mask, hints: Sequence[KindHint]) -> Mask:
    """What lies still and is thinner than a grain: joints of the floor, which only a blank tells for sure."""
    still = (before & after).astype(np.uint8)
    width = max(3, round(THIN * min(hint.size_px[0] for hint in hints)))
    whole = cv2.morphologyEx(still, cv2.MORPH_OPEN, np.ones((width, width), np.uint8))
    around = np.ones((2 * RIM_PX + 1,) * 2, np.uint8)
    thin = (still > 0) & (cv2.dilate(whole, around) == 0)
    return np.asarray((cv2.dilate(thin.astype(np.uint8), around) > 0) & (cv2.dilate(whole, around) == 0))


def _as_filmed(
    bgr: NDArray[np.uint8], registered: RegisteredShots, shot: str, covered: Mask, bare: NDArray[np.float32]
) -> NDArray[np.float32]:
    """A frame as all frames are looked at, in the light of the last one.

    Other ways to look at it would blur the floor's joints otherwise.
    """
    located = registered.located
    assert located is not None  # shots on a patch have markers
    clear = registered.usable & ~covered
    view = aligned_map(bgr, located.views[shot], registered.grid, bare, clear).view(bgr)
    return np.asarray(view * stiff_gain(view, bare, clear), np.float32)


def _where_bare(
    shown: Mapping[str, NDArray[np.float32]], covered: Mapping[str, Mask], bare: NDArray[np.float32]
) -> NDArray[np.float32]:
    """The floor as the frames show it, where one or both of them show it bare."""
    around = np.ones((2 * RIM_PX + 3,) * 2, np.uint8)
    free = {name: cv2.dilate(covered[name].astype(np.uint8), around) == 0 for name in shown}
    count = sum(mask.astype(np.float32) for mask in free.values())
    total = sum(view * free[name][..., None] for name, view in shown.items())
    return np.where((count > 0)[..., None], total / np.maximum(count, 1)[..., None], bare).astype(np.float32)


def _background(
    known: KnownFloor,
    registered: RegisteredShots,
    maps: CoverMaps,
    light: NDArray[np.float32],
    hints: Sequence[KindHint],
    strewn: Mask,
) -> tuple[Floats, Floats]:
    """What bare floor shows as debris for every mm² of it: on the blank or, without one, beside the patch.

    Mean and, as of spots that lie by chance, variance; shape (R,) each.
    """
    rim = 2 * int(max(hint.size_px[1] for hint in hints)) + 1
    if "blank" in registered.views:
        view, where = registered.views["blank"], registered.usable
    else:
        view = maps.matched["before"]
        where = registered.usable & (cv2.dilate(strewn.astype(np.uint8), np.ones((rim, rim), np.uint8)) == 0)
    if not where.any():
        return np.zeros(known.rows), np.zeros(known.rows)
    shows = [np.where(where, one, np.float32(0)) for one in known.debris_by_kind(view / light)]
    floor, pixel = float(where.sum()), known.grid.mm_per_px**2
    spots = [cv2.resize(one, None, fx=1 / rim, fy=1 / rim, interpolation=cv2.INTER_AREA) * rim**2 for one in shows]
    return (
        np.array([float(one.sum()) / floor for one in shows]),
        np.array([float((one.astype(float) ** 2).sum()) * pixel / floor for one in spots]),
    )
