"""Count the debris in one photo: from the photo to amounts."""

from collections.abc import Sequence
from dataclasses import replace
from os import PathLike

import numpy as np

from ..cover.kinds import KindHint
from ..errors import CountOptionsError, PhotoFileError
from ..flags import Flag, sentences
from ..grains.table import GrainTable
from ..inputs.debris import DebrisKind
from ..inputs.lens import CameraLens
from ..inputs.lens_file import read_lens
from ..inputs.patch import Patch
from ..inputs.patch_file import read_patch
from ..mosaic.records import Joined
from ..photo.colour import srgb_pixels
from ..photo.limits import MOST_MEGAPIXELS
from ..photo.read import Photo
from ..photo.settings import UNKNOWN_SETTINGS
from ..pickup.clumps import count_interval
from ..pickup.records import Amount
from ..pickup.zones import amounts, less_background, not_negative
from ..plausibility.checks import border_warnings, check_guess, check_same_floor, kind_flags
from ..plausibility.suspicions import photo_mixup_flags
from ..registration.register import RegisteredShots
from .pipeline import comparable, grain_tables, hints_of, on_patch, strewn_floor, told_debris
from .records import Counted, Region
from .region import checked_region, needed_averaging, region_as_patch, region_views
from .sources import (
    Progress,
    ShotSource,
    load_photo,
    loaded,
    named_kinds,
    photos_of,
    read_kinds,
    seen_colours,
)

#: Scales that a photo of a floor can have: light shows nothing finer, and a pixel of a metre shows no grain.
SCALES_MM_PER_PX = (1e-6, 1000.0)
NOTHING_SEEN = "nothing stands out from the floor, so no debris is seen"


def count(
    photo: ShotSource,
    *,
    patch: Patch | str | PathLike[str] | None = None,
    mm_per_px: float | None = None,
    region: Region | None = None,
    blank: ShotSource | None = None,
    debris: Sequence[DebrisKind | str | PathLike[str]] = (),
    lens: CameraLens | str | PathLike[str] | None = None,
    most_megapixels: float = MOST_MEGAPIXELS,
    progress: Progress | None = None,
) -> Counted:
    """Count and measure the debris that one photo shows: leftovers, a weighed portion, a picture without markers.

    Parameters
    ----------
    photo : path or ndarray of uint8, shape (H, W, 3)
        The photo. Of a room it may be several that overlap: the path of a folder that holds them, or a sequence.
    patch : Patch or path, optional
        The marked rectangle of floor. Either it or ``mm_per_px`` is given.
    mm_per_px : float, optional
        Scale of a photo without markers, taken from straight above, mm per pixel.
    region : (int, int, int, int), optional
        Left, top, width and height of the part to look at, pixels of the upright photo; only with ``mm_per_px``. The
        whole photo unless given.
    blank : path or ndarray, optional
        Photo of the clean floor, or several. Without a patch it must be taken from the same place as ``photo``.
    debris : sequence of DebrisKind or path
        The kinds to look for. Without any, what stands out from the floor is taken for debris.
    lens : CameraLens or path, optional
        The camera's lens, as `read_lens` or ``debriscount lens`` makes it; only with a patch. Without, it is told from
        the markers.
    most_megapixels : float
        Larger photo files are refused before they are decoded.
    progress : callable, optional
        Told the share done, 0 to 1, and what is being done.

    Returns
    -------
    Counted

    Raises
    ------
    CountOptionsError
        If patch, scale, region and lens do not go together, with one another, the photo or the debris.
    InputFileError, PhotoFileError
        If a file cannot be used.
    LensError
        If the lens does not go with a photo.
    MarkerError, PhotosDifferError, PhotoUnfitError
        If a photo of a patch is not fit to measure.
    UnknownDebrisError
        If no debris file is given and what stands out does not look like grains.

    Notes
    -----
    What the bare floor itself shows as debris is taken off where a blank tells of it. A grain that the region's border
    cuts counts, with the area that is seen, if it is seen at all.

    Examples
    --------
    In the folder of the demo's first run, whose photo shows 12 lentils in the patch's corner:

    >>> found = count("after.jpg", patch="patch.toml", blank="blank.jpg", debris=["red-lentils.toml"])
    >>> found.zones["corner"].grains
    12
    """
    tell: Progress = progress if progress is not None else lambda _done, _what: None
    _check_options(patch, mm_per_px, region, lens)
    patch = None if patch is None else loaded(patch, read_patch)
    lens = None if lens is None else loaded(lens, read_lens)
    kinds = read_kinds(debris)
    tell(0.0, "reading photos")
    one_each, joined = _read_photos(photo, blank, patch, lens, most_megapixels)
    photos, told, kinds = comparable(one_each, kinds, "photo")
    if mm_per_px is None:
        assert patch is not None  # _check_options saw to it
        area = None
        registered = on_patch(photos, patch, kinds, lens, tell)
        check_same_floor(photos, registered)
        hints = _hints(registered, kinds)
    else:
        area = checked_region(photos["photo"], region)
        registered, hints = _in_region(photos, area, mm_per_px, kinds)
    tell(0.4, "telling debris from floor")
    named = named_kinds(kinds, hints)
    maps, found = told_debris(registered, hints) if hints else (None, {})
    tell(0.9, "counting grains")
    zoned = patch if patch is not None else region_as_patch(registered.grid)
    scale = registered.grid.mm_per_px
    grains = grain_tables(found, registered, zoned) or {"photo": _no_grains()}
    if hints and not kinds:
        everywhere = np.ones(len(grains["photo"]), bool)
        check_guess(photos["photo"].name, grains["photo"], count_interval(grains["photo"], everywhere))
    mixups: tuple[Flag, ...] = ()
    if maps is not None and kinds and patch is not None and blank is not None:
        mixups = photo_mixup_flags(registered, maps, found, strewn_floor(patch, registered), named, hints)
    flags = [flag for one in joined.values() for flag in one.flags]
    flags += [*registered.warnings, *(kind_flags(maps, named, hints) if maps else ())]
    warnings = [*told, *sentences(flags)] + ([] if maps else [NOTHING_SEEN])
    warnings += border_warnings(grains["photo"], zoned) if patch is None else []
    tell(1.0, "done")
    return Counted(
        file=photos["photo"].file,
        sha256=photos["photo"].sha256,
        blank_file=photos["blank"].file if "blank" in photos else "",
        blank_sha256=photos["blank"].sha256 if "blank" in photos else "",
        patch=patch,
        region=area,
        mm_per_px=mm_per_px,
        grid=registered.grid,
        kinds=seen_colours(named, maps.colours) if maps else (),
        zones=_zones(patch, zoned, grains, named, scale),
        by_kind={kind.name: _zones(patch, zoned, grains, named, scale, k) for k, kind in enumerate(named)},
        grains=grains["photo"],
        floor_view=srgb_pixels(registered.views["photo"]),
        kind_map=found["photo"].kind_map if found else np.zeros(registered.grid.shape, np.uint8),
        warnings=tuple(warnings),
        mixups=mixups,
        settings=photos["photo"].settings,
        blank_settings=photos["blank"].settings if "blank" in photos else UNKNOWN_SETTINGS,
        joined=joined.get("photo"),
        blank_joined=joined.get("blank"),
    )


def _check_options(patch: object, mm_per_px: float | None, region: Region | None, lens: object) -> None:
    if (patch is None) == (mm_per_px is None):
        said = "neither of them" if patch is None else "both"
        raise CountOptionsError(
            "a photo is counted with a patch file (--patch) or, if it shows no markers, with its scale (--mm-per-px); "
            f"got {said}."
        )
    if mm_per_px is None and region is not None:
        raise CountOptionsError(
            "a region goes with the scale of a photo without markers (--mm-per-px). Leave it out: with a patch file, "
            "the patch is what is looked at."
        )
    if mm_per_px is not None and lens is not None:
        raise CountOptionsError(
            "a lens goes with a patch file (--patch), whose markers tell how the camera was held. Leave it out, or give"
            " the patch file."
        )
    least, most = SCALES_MM_PER_PX
    if mm_per_px is not None and not least <= mm_per_px <= most:
        raise CountOptionsError(
            f"mm_per_px must be a number from {least:g} to {most:g}, got {mm_per_px:g}. "
            "It is how many millimetres of floor a pixel of the photo spans."
        )


def _read_photos(
    photo: ShotSource, blank: ShotSource | None, patch: Patch | None, lens: CameraLens | None, most_megapixels: float
) -> tuple[dict[str, Photo], dict[str, Joined]]:
    """The photo and, before it, the blank if there is one, and how those fit that are joined of several."""
    sources = {"photo": photo} if blank is None else {"blank": blank, "photo": photo}
    read = {
        name: [load_photo(part, name, most_megapixels) for part in photos_of(source)]
        for name, source in sources.items()
    }
    blanks = {part.sha256 for part in read.get("blank", ()) if part.sha256}
    for part in read["photo"]:
        if part.sha256 in blanks:
            raise PhotoFileError(f"{part.name}: is the same photo as the blank. Give the photo of the debris.")
    if all(len(parts) == 1 for parts in read.values()):
        return {name: parts[0] for name, parts in read.items()}, {}
    if patch is None:
        raise CountOptionsError(
            "several photos of one shot are joined by the markers of a patch file (--patch). Give it, or each photo by "
            "itself."
        )
    from ..mosaic.join import one_photo_each

    return one_photo_each(read, patch, lens=lens)


def _hints(registered: RegisteredShots, kinds: Sequence[DebrisKind]) -> tuple[KindHint, ...]:
    return hints_of(registered, kinds, "photo", "blank" if "blank" in registered.views else None)


def _in_region(
    photos: dict[str, Photo], region: Region, mm_per_px: float, kinds: Sequence[DebrisKind]
) -> tuple[RegisteredShots, tuple[KindHint, ...]]:
    """Floor views of the region, no finer than its grains need, and what to look for in them."""
    small_px = None
    if kinds:
        smallest = min(kinds, key=lambda kind: kind.size_mm[0])
        small_px = smallest.size_mm[0] / mm_per_px
        if min(region[2:]) < small_px:
            raise CountOptionsError(
                f"at {mm_per_px:g} mm per pixel the region is {min(region[2:]) * mm_per_px:.3g} mm across, less than a "
                f"grain of {smallest.name}. Check the scale: millimetres of floor that a pixel of the photo spans."
            )
    averaging = needed_averaging(region, small_px)
    registered = region_views(photos, region, mm_per_px, averaging)
    hints = _hints(registered, kinds)
    if not kinds and hints:
        finest = needed_averaging(region, averaging * min(hint.size_px[0] for hint in hints))
        if finest > averaging:
            registered = region_views(photos, region, mm_per_px, finest)
            shrunk = averaging / finest
            hints = tuple(replace(h, size_px=(h.size_px[0] * shrunk, h.size_px[1] * shrunk)) for h in hints)
    return registered, hints


def _no_grains() -> GrainTable:
    none = np.zeros(0)
    return GrainTable(none.astype(np.int16), none, none, none, none.astype(np.int8))


def _zones(
    patch: Patch | None,
    zoned: Patch,
    grains: dict[str, GrainTable],
    kinds: Sequence[DebrisKind],
    mm_per_px: float,
    only: int | None = None,
) -> dict[str, Amount]:
    """Amounts by zone less what the blank shows there; of a region, which is all open floor, "patch" alone."""
    there = amounts(zoned, grains["photo"], kinds, only, mm_per_px)
    if "blank" in grains:
        bare = amounts(zoned, grains["blank"], kinds, only, mm_per_px)
        there = {zone: not_negative(less_background(amount, bare[zone])) for zone, amount in there.items()}
    return there if patch is not None else {"patch": there["patch"]}
