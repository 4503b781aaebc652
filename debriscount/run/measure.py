"""Measure one run: from photos to figures."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from functools import partial
from os import PathLike

import cv2
import numpy as np
from numpy.typing import NDArray

from ..arrays import Mask
from ..at_once import for_each, load_ahead, meanwhile
from ..cover.fine import faint_share
from ..cover.kinds import KindHint
from ..cover.maps import CoverMaps
from ..errors import NoDebrisError
from ..flags import Flag, worst_first
from ..grains.find import FoundGrains, find_grains, least_area_px
from ..grains.screen import screen_grains
from ..grains.table import GrainTable, grain_table
from ..inputs.debris import DebrisKind
from ..inputs.lens import CameraLens
from ..inputs.lens_file import read_lens
from ..inputs.patch import Patch
from ..inputs.patch_file import read_patch
from ..inputs.weighing import Weighing
from ..inputs.weighing_file import read_weighing
from ..mosaic.records import Joined
from ..photo.limits import MOST_MEGAPIXELS
from ..photo.read import Photo
from ..pickup.detection import FalseGrains, mirror_grains
from ..pickup.grain_sizes import as_varied
from ..pickup.pass_figures import pass_figures
from ..pickup.same_grains import as_before
from ..pickup.trust import judged
from ..pickup.uncertainty import Doubts, ShotGrains
from ..plausibility.alike import alike_flags
from ..plausibility.checks import check_debris, check_same_floor, run_flags
from ..plausibility.foreign import ForeignThing, foreign_things
from ..plausibility.mixups import check_shot_order, other_run_flags
from ..plausibility.noticed import balance_flags, photo_flags, refused_for_its_cause
from ..plausibility.same_photo import check_distinct, check_saved_again
from ..plausibility.seen_first import SeenFirst, see_first
from ..plausibility.standing import standing_flags
from ..plausibility.standing_out import LogViews
from ..plausibility.suspicions import mixup_flags
from ..registration.grid import FloorGrid
from ..registration.register import RegisteredShots, views_for_the_eye
from .pipeline import comparable, grain_tables, hints_of, on_patch, strewn_floor, told_debris
from .records import Given, MeasuredShot, Measurement
from .sources import (
    PhotoSource,
    Progress,
    ShotSource,
    load_photo,
    loaded,
    named_kinds,
    photos_of,
    read_kinds,
    seen_colours,
)
from .weighed import measurable, scale_figures


def measure(
    patch: Patch | str | PathLike[str],
    before: ShotSource,
    afters: PhotoSource | Sequence[ShotSource],
    *,
    blank: ShotSource | None = None,
    debris: Sequence[DebrisKind | str | PathLike[str]] = (),
    lens: CameraLens | str | PathLike[str] | None = None,
    weighing: Weighing | str | PathLike[str] | None = None,
    allow_growth: bool = False,
    most_megapixels: float = MOST_MEGAPIXELS,
    progress: Progress | None = None,
) -> Measurement:
    """Measure how much of the scattered debris a machine picked up.

    Parameters
    ----------
    patch : Patch or path
        The marked rectangle of floor.
    before : path or ndarray of uint8, shape (H, W, 3)
        Photo of the scattered debris. Of a room it may be several photos that overlap: the path of a folder that holds
        them, or a sequence.
    afters : path, ndarray or sequence of them
        Photo after each pass, in order; each may be several photos, as for ``before``.
    blank : path or ndarray, optional
        Photo of the clean floor, or several.
    debris : sequence of DebrisKind or path
        The kinds scattered. Without any, colour and size come from what changed between the shots.
    lens : CameraLens or path, optional
        The camera's lens, as `read_lens` or ``debriscount lens`` makes it. Without, it is told from the markers.
    weighing : Weighing or path, optional
        What the scale said, for the pickup by scale beside that by photo.
    allow_growth : bool
        Measure even if debris grew everywhere, which otherwise counts as exchanged photos.
    most_megapixels : float
        Larger photo files are refused before they are decoded.
    progress : callable, optional
        Told the share done, 0 to 1, and what is being done.

    Returns
    -------
    Measurement

    Raises
    ------
    InputFileError, PhotoFileError
        If a file cannot be used.
    LensError
        If the lens does not go with a photo.
    MarkerError, PhotosDifferError, NoDebrisError
        If the photos are not fit to measure.
    ShotOrderError
        If debris grew everywhere and ``allow_growth`` is not set.

    Examples
    --------
    In the folder of the demo's first run, of which 77.5 % were picked up:

    >>> run = measure("patch.toml", "before.jpg", "after.jpg", blank="blank.jpg", debris=["red-lentils.toml"])
    >>> whole = run.passes[-1].zones["patch"]
    >>> low, high = whole.interval95
    >>> whole.trust, low < 77.5 < high
    ('sound', True)
    """
    tell: Progress = progress if progress is not None else lambda _done, _what: None
    load_ahead(_late_modules)
    patch = loaded(patch, read_patch)
    lens = None if lens is None else loaded(lens, read_lens)
    weighing = None if weighing is None else loaded(weighing, read_weighing)
    kinds = read_kinds(debris)
    given = Given(tuple(kinds), allow_growth)
    one_each, joined = _one_each(_read_photos(before, afters, blank, most_megapixels, tell), patch, lens, tell)
    photos, told, kinds = comparable(one_each, kinds, "before")
    registered = on_patch(photos, patch, kinds, lens, tell)
    for_the_eye = meanwhile(partial(views_for_the_eye, photos, registered))
    if registered.located is not None:
        check_saved_again(photos, registered.located.seen)
    check_same_floor(photos, registered)
    hints = _hints(registered, kinds)
    named = named_kinds(kinds, hints)
    first = see_first(photos, registered, patch, kinds, hints)
    photos = {name: photo.without_pixels() for name, photo in photos.items()}
    tell(0.4, "telling debris from floor")
    strewn = strewn_floor(patch, registered)
    maps, found, views = _told(registered, hints, strewn)
    tell(0.8, "counting grains")
    scale = registered.grid.mm_per_px

    def faults() -> list[Flag]:
        return [*first.flags, *alike_flags(first.tones, maps.matched, found, registered.usable)]

    with refused_for_its_cause(photos, faults):
        check_shot_order(photos, found, maps, strewn & registered.usable, views)
    things = foreign_things(first.cells, maps, registered.usable, strewn, found, hints, scale)
    registered, left_out = _without(registered, things, strewn)
    if things:
        maps, found, views = _told(replace(registered, views=maps.matched), hints, strewn)
    mixed_up = meanwhile(lambda: mixup_flags(photos, first, registered, maps, views, found, strewn, named, hints))
    tell(0.9, "summing zones")
    grains, alike = as_before(grain_tables(found, registered, patch))
    grains = as_varied(grains, hints)
    weighed = {
        name: ShotGrains(
            grains[name], f.limit_px * scale**2, registered.apart_mm[name], registered.place_u_mm, alike[name].u
        )
        for name, f in found.items()
    }
    false = _false_grains(patch, registered.grid, maps, found, grains, hints)
    doubts = _doubts(maps, grains["before"], hints, scale, max(left_out, *(one.unseen for one in joined.values()), 0.0))
    passes, budget = pass_figures(patch, weighed, named, scale, false, doubts)
    with refused_for_its_cause(photos, faults):
        check_debris(photos, passes, allow_growth)
    tell(0.92, "looking why debris stayed")
    from .explained import doubted, explained

    left = explained(patch, registered, maps, found, grains, named, hints, passes)
    scale_side = None if weighing is None else scale_figures(patch, weighing, passes, kinds, _seen_cover(found))
    flags = worst_first(
        [
            *(thing.flag for thing in things),
            *(flag for one in joined.values() for flag in one.flags),
            *mixed_up.result(),
            *other_run_flags(passes, left, hints),
            *first.flags,
            *standing_flags(first.cells, registered.grid, patch),
            *run_flags(patch, registered, passes, maps, named, hints, budget),
            *photo_flags(photos, told),
            *(() if scale_side is None else balance_flags(scale_side.weighed.balance)),
        ]
    )
    passes = judged(
        passes, flags, {name: photo.name for name, photo in photos.items()}, budget[0].source if budget else ""
    )
    if scale_side is not None:
        scale_side = measurable(scale_side, passes[-1])
    tell(1.0, "done")
    return Measurement(
        patch=patch,
        grid=registered.grid,
        kinds=seen_colours(named, maps.colours),
        shots=_measured_shots(photos, registered, first, found, grains, joined, for_the_eye.result()),
        passes=passes,
        budget=budget,
        flags=flags,
        scale=scale_side,
        lens=lens,
        left=doubted(left, passes),
        given=given,
    )


def _told(
    registered: RegisteredShots, hints: Sequence[KindHint], strewn: Mask
) -> tuple[CoverMaps, dict[str, FoundGrains], LogViews]:
    """Debris told from floor, the grains of every shot, and the views for checks; those registered are spent."""
    maps, found = told_debris(registered, hints, strewn, spend=True)
    found = screen_grains(found, maps.matched, hints, maps.colours, registered.usable, strewn)
    return maps, found, LogViews(maps.matched, max(hint.size_px[1] for hint in hints))


def _without(
    registered: RegisteredShots, things: Sequence[ForeignThing], strewn: Mask
) -> tuple[RegisteredShots, float]:
    """The shots without the places of foreign things, which none of them is judged by, and their share of the patch."""
    hidden = np.logical_or.reduce([np.zeros_like(strewn), *(thing.mask for thing in things)])
    floor = registered.usable & strewn
    share = float((floor & hidden).sum() / max(int(floor.sum()), 1))
    return replace(registered, usable=registered.usable & ~hidden, shown=registered.shown & ~hidden), share


def _measured_shots(
    photos: Mapping[str, Photo],
    registered: RegisteredShots,
    first: SeenFirst,
    found: Mapping[str, FoundGrains],
    grains: Mapping[str, GrainTable],
    joined: Mapping[str, Joined],
    for_the_eye: Mapping[str, NDArray[np.uint8]],
) -> tuple[MeasuredShot, ...]:
    """What is kept of every shot, in their order."""
    return tuple(
        MeasuredShot(
            name=name,
            file=photo.file,
            sha256=photo.sha256,
            markers_seen=registered.markers_seen[name],
            residual_mm=registered.residual_mm[name],
            floor_view=first.floors[name],
            kind_map=found[name].kind_map,
            grains=grains[name],
            settings=photo.settings,
            joined=joined.get(name),
            photo_view=for_the_eye.get(name),
        )
        for name, photo in photos.items()
    )


def _late_modules() -> None:
    """Load what is needed late and takes long to load."""
    from skimage.segmentation import watershed  # noqa: F401

    from . import explained  # noqa: F401


def _seen_cover(found: Mapping[str, FoundGrains]) -> float:
    """Cover where the debris of *before* lies, 0 to 1: how much of its own surroundings is debris, on average."""
    debris = (found["before"].kind_map > 0).astype(np.float32)
    size = np.sqrt(max(float(debris.sum()) / max(len(found["before"].area_px), 1), 1.0))
    around = cv2.blur(debris, (2 * round(1.5 * size) + 1,) * 2)
    return float(around[debris > 0].mean()) if debris.any() else 0.0


def _one_each(
    read: Mapping[str, Sequence[Photo]], patch: Patch, lens: CameraLens | None, tell: Progress
) -> tuple[dict[str, Photo], dict[str, Joined]]:
    """One photo for each shot, and how those fit that are joined of several."""
    if all(len(those) == 1 for those in read.values()):
        return {name: those[0] for name, those in read.items()}, {}
    from ..mosaic.join import one_photo_each

    tell(0.1, "joining photos")
    return one_photo_each(read, patch, lens=lens)


def _read_photos(
    before: ShotSource,
    afters: PhotoSource | Sequence[ShotSource],
    blank: ShotSource | None,
    most_megapixels: float,
    tell: Progress,
) -> dict[str, list[Photo]]:
    """The photos of every shot, in the order of the shots."""
    several = [afters] if isinstance(afters, str | PathLike | np.ndarray) else list(afters)
    if not several:
        raise ValueError("afters must hold at least one photo")
    sources = {"before": before, "after": several[0]}
    sources |= {f"after{i + 2}": source for i, source in enumerate(several[1:])}
    if blank is not None:
        sources = {"blank": blank, **sources}
    each = [(name, photo) for name, source in sources.items() for photo in photos_of(source)]
    photos: dict[str, list[Photo]] = {name: [] for name in sources}
    tell(0.0, "reading photos")
    read = for_each(lambda one: load_photo(one[1], one[0], most_megapixels), each)
    for number, ((name, _), photo) in enumerate(zip(each, read, strict=True), start=1):
        photos[name].append(photo)
        tell(0.1 * number / len(each), "reading photos")
    check_distinct(_told_apart(photos))
    return photos


def _told_apart(photos: Mapping[str, Sequence[Photo]]) -> dict[str, Photo]:
    """All photos by the shot's name, and a number where it has several."""
    return {
        name if len(those) == 1 else f"{name} ({number})": photo
        for name, those in photos.items()
        for number, photo in enumerate(those, start=1)
    }


def _hints(registered: RegisteredShots, kinds: Sequence[DebrisKind]) -> tuple[KindHint, ...]:
    hints = hints_of(
        registered, kinds, "before", "blank" if "blank" in registered.views else list(registered.views)[-1]
    )
    if not hints:
        raise NoDebrisError(
            "before: nothing differs from the later photo, so no debris is seen. Give the debris file, or check that "
            "the photos are those of before and after."
        )
    return hints


def _doubts(
    maps: CoverMaps, before: GrainTable, hints: Sequence[KindHint], mm_per_px: float, left_out: float
) -> dict[int | None, Doubts]:
    """What the photos leave open of each kind and, weighted by what lay there, of all.

    ``left_out`` is the share of the patch on which foreign things hide the floor.
    """
    shot = maps.shots["before"]
    still = maps.doubt_px * mm_per_px**2
    unseen = [1 - (1 - blind) * (1 - left_out) for blind in maps.blind_share]
    by_kind: dict[int | None, Doubts] = {
        k: Doubts(blind, 0.0 if hint.outlined else faint_share(shot.widest_sigma, hint), still)
        for k, (hint, blind) in enumerate(zip(hints, unseen, strict=True))
    }
    share = np.bincount(before.kind, before.area_mm2, len(hints)) / max(float(before.area_mm2.sum()), 1e-9)
    together = Doubts(
        float(share @ [d.blind_share for d in by_kind.values()]),
        float(share @ [d.faint_share for d in by_kind.values()]),
        still,
    )
    return {None: together, **by_kind}


def _false_grains(
    patch: Patch,
    grid: FloorGrid,
    maps: CoverMaps,
    found: Mapping[str, FoundGrains],
    grains: Mapping[str, GrainTable],
    hints: Sequence[KindHint],
) -> FalseGrains:
    """What bare floor shows as debris: the blank's grains or, without a blank, those in the last shot's mirror."""
    least_mm2 = tuple(least_area_px(hint) * grid.mm_per_px**2 for hint in hints)
    if "blank" in found:
        return FalseGrains(grains["blank"], least_mm2)
    last = list(found)[-1]
    mirror = find_grains(maps.shots[last].mirrored(), hints)
    reach_mm = max(hint.size_px[1] for hint in hints) * grid.mm_per_px
    return mirror_grains(patch, grid, grain_table(mirror, grid, patch), found[last].kind_map > 0, reach_mm, least_mm2)
