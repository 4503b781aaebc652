"""Measure one run: from photos to figures."""

from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from os import PathLike

import numpy as np
from numpy.typing import NDArray

from ..cover.guess import guess_kinds
from ..cover.kinds import KindHint
from ..cover.maps import cover_maps
from ..errors import NoDebrisError, PhotoFileError
from ..geometry.grid import FloorGrid
from ..geometry.register import RegisteredShots, register_shots
from ..grains.find import FoundGrains, find_grains
from ..inputs.debris import DebrisKind
from ..inputs.debris_file import read_debris_files
from ..inputs.patch import Patch
from ..inputs.patch_file import read_patch
from ..photo.colour import linear_to_srgb, srgb_pixels, srgb_to_linear
from ..photo.read import Photo, photo_from_array, read_photo
from .checks import check_debris, check_same_floor, run_warnings
from .passes import pass_figures
from .records import GrainTable, KindColor, MeasuredShot, Measurement
from .uncertainty import ShotGrains

#: A photo: a file or sRGB pixels of shape (H, W, 3), 8 bits a channel.
PhotoSource = str | PathLike[str] | NDArray[np.uint8]
Progress = Callable[[float, str], None]

#: Name of debris of which no file tells.
UNNAMED = "debris"
#: Grain size that is allowed for before any is known, mm: coarse test debris (common practice, no source).
UNNAMED_SIZE_MM = 6.0


def measure(
    patch: Patch | str | PathLike[str],
    before: PhotoSource,
    afters: PhotoSource | Sequence[PhotoSource],
    *,
    blank: PhotoSource | None = None,
    debris: Sequence[DebrisKind | str | PathLike[str]] = (),
    allow_growth: bool = False,
    progress: Progress | None = None,
) -> Measurement:
    """Measure how much of the scattered debris a machine picked up.

    Parameters
    ----------
    patch : Patch or path
        The marked rectangle of floor.
    before : path or ndarray of uint8, shape (H, W, 3)
        Photo of the scattered debris.
    afters : path, ndarray or sequence of them
        Photo after each pass, in order.
    blank : path or ndarray, optional
        Photo of the clean floor.
    debris : sequence of DebrisKind or path
        The kinds scattered. Without any, colour and size come from what changed between the shots.
    allow_growth : bool
        Measure even if debris grew everywhere, which otherwise counts as exchanged photos.
    progress : callable, optional
        Told the share done, 0 to 1, and what is being done.

    Returns
    -------
    Measurement

    Raises
    ------
    InputFileError, PhotoFileError
        If a file cannot be used.
    MarkerError, PhotosDifferError, NoDebrisError
        If the photos are not fit to measure.
    ShotOrderError
        If debris grew everywhere and ``allow_growth`` is not set.
    """
    tell: Progress = progress if progress is not None else lambda _done, _what: None
    patch = patch if isinstance(patch, Patch) else read_patch(patch)
    kinds = _read_kinds(debris)
    photos = _read_photos(before, afters, blank, tell)
    registered = register_shots(
        photos,
        patch,
        rim_mm=_rim_mm(kinds),
        progress=lambda done: tell(0.1 + 0.3 * done, "aligning"),
    )
    check_same_floor(photos, registered)
    tell(0.4, "telling debris from floor")
    hints = _hints(registered, kinds)
    named = _named(kinds, hints)
    maps = cover_maps(registered.views, registered.usable, registered.shown, hints)
    tell(0.75, "counting grains")
    with ThreadPoolExecutor() as pool:  # most of it happens outside the interpreter's lock
        found = dict(zip(maps.shots, pool.map(lambda shot: find_grains(shot, hints), maps.shots.values()), strict=True))
    tell(0.9, "summing zones")
    grains = {name: _grain_table(f, registered.grid, patch) for name, f in found.items()}
    scale = registered.grid.mm_per_px
    weighed = {
        name: ShotGrains(grains[name], f.limit_px * scale**2, registered.residual_mm[name]) for name, f in found.items()
    }
    passes, budget = pass_figures(patch, weighed, named, scale)
    check_debris(photos, passes, allow_growth)
    shots = tuple(
        MeasuredShot(
            name,
            photo.file,
            photo.sha256,
            registered.markers_seen[name],
            registered.residual_mm[name],
            srgb_pixels(registered.views[name]),
            found[name].kind_map,
            grains[name],
        )
        for name, photo in photos.items()
    )
    colours = tuple(KindColor(kind.name, _as_srgb(c.mean)) for kind, c in zip(named, maps.colours, strict=True))
    tell(1.0, "done")
    return Measurement(
        patch,
        registered.grid,
        colours,
        shots,
        passes,
        budget,
        warnings=run_warnings(patch, registered, passes, maps, named, hints),
    )


def _read_kinds(debris: Sequence[DebrisKind | str | PathLike[str]]) -> tuple[DebrisKind, ...]:
    paths = [d for d in debris if not isinstance(d, DebrisKind)]
    given = [d for d in debris if isinstance(d, DebrisKind)]
    return (*given, *read_debris_files(paths))


def _read_photos(
    before: PhotoSource,
    afters: PhotoSource | Sequence[PhotoSource],
    blank: PhotoSource | None,
    tell: Progress,
) -> dict[str, Photo]:
    several = [afters] if isinstance(afters, str | PathLike | np.ndarray) else list(afters)
    if not several:
        raise ValueError("afters must hold at least one photo")
    sources = {"before": before, "after": several[0]}
    sources |= {f"after{i + 2}": source for i, source in enumerate(several[1:])}
    if blank is not None:
        sources = {"blank": blank, **sources}
    photos = {}
    for step, (name, source) in enumerate(sources.items()):
        tell(0.1 * step / len(sources), "reading photos")
        photos[name] = photo_from_array(source, name) if isinstance(source, np.ndarray) else read_photo(source)
    for name, photo in photos.items():
        if name.startswith("after") and photo.sha256 and photo.sha256 == photos["before"].sha256:
            raise PhotoFileError(f"{photo.name}: is the same photo as *before*. Give the photo taken after the pass.")
    return photos


def _rim_mm(kinds: Sequence[DebrisKind]) -> float:
    """How far beyond margin and walls grains may reach: one grain."""
    return max((kind.size_mm[1] for kind in kinds), default=UNNAMED_SIZE_MM)


def _hints(registered: RegisteredShots, kinds: Sequence[DebrisKind]) -> tuple[KindHint, ...]:
    if kinds:
        step = registered.grid.mm_per_px
        return tuple(
            KindHint(
                srgb_to_linear(np.array(kind.color_srgb) / 255),
                (kind.size_mm[0] / step, kind.size_mm[1] / step),
            )
            for kind in kinds
        )
    last = "blank" if "blank" in registered.views else list(registered.views)[-1]
    hints = guess_kinds(registered.views["before"], registered.views[last], registered.usable)
    if not hints:
        raise NoDebrisError(
            "before: nothing differs from the later photo, so no debris is seen. Give the debris file, or check that "
            "the photos are those of before and after."
        )
    return hints


def _named(kinds: Sequence[DebrisKind], hints: Sequence[KindHint]) -> tuple[DebrisKind, ...]:
    """Names for kinds of which no file tells."""
    if kinds:
        return tuple(kinds)
    names = [UNNAMED] if len(hints) == 1 else [f"{UNNAMED} {k + 1}" for k in range(len(hints))]
    return tuple(DebrisKind(name, _as_srgb(hint.colour), (0.0, 0.0)) for name, hint in zip(names, hints, strict=True))


def _grain_table(found: FoundGrains, grid: FloorGrid, patch: Patch) -> GrainTable:
    x = grid.x0_mm + grid.mm_per_px * found.x_px
    y = grid.y0_mm + grid.mm_per_px * found.y_px
    zone = patch.zone_codes(*patch.in_front_of_walls(x, y))
    return GrainTable(found.kind, x, y, found.area_px * grid.mm_per_px**2, zone)


def _as_srgb(linear: NDArray[np.float64]) -> tuple[int, int, int]:
    r, g, b = (int(v) for v in np.round(255 * linear_to_srgb(linear)))
    return r, g, b
