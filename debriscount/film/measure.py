"""A film as a whole: from the file to debris left against time, and the machine's way."""

import re
from collections.abc import Sequence
from contextlib import closing
from dataclasses import replace
from itertools import chain
from os import PathLike

import cv2
import numpy as np

from ..arrays import Floats
from ..camera.fit import FOCAL_SHARE
from ..camera.lens import Lens
from ..cover.kinds import OUTLINED_PX
from ..errors import FilmFileError, NoDebrisError
from ..flags import Flag
from ..inputs.debris import DebrisKind
from ..inputs.lens import CameraLens
from ..inputs.lens_file import read_lens
from ..inputs.patch import Patch
from ..inputs.patch_file import read_patch
from ..photo.limits import MOST_MEGAPIXELS
from ..photo.read import Photo, photo_from_array
from ..photo.shots import side_by_side
from ..pickup.trust import SOUND
from ..run.sources import PhotoSource, Progress, load_photo, loaded, read_kinds
from .curve import Curve
from .floor import learn_floor
from .frames import FilmFile, Frame, frames_at, last_frames, open_film, shrunk, stretches
from .left import REACH, LeftOver, left_over
from .look import looking_at, with_stands
from .machine import USUAL_HEIGHT_MM
from .place import found_anew
from .records import MeasuredFilm
from .spread import ways_to_look
from .strips import with_strips
from .track import lanes, outings, track_of, turns
from .watch import Watch

#: Seconds from look to look at the machine: at a walking pace it moves by a quarter of itself.
TRACK_S = 0.2
#: Seconds between samples that can be asked for.
EVERY_S = (0.04, 600.0)
#: Long side of frames beyond which they may be made smaller, and towards which.
_LARGE_PX, _FULL_HD_PX = 2600, 1920
#: Seconds from start and end at which clear frames are sought.
_CANDIDATES_S = (0.0, 0.6, 1.5, 3.0)
#: Share of the patch that is hidden to the end from which on that is told.
_NEVER_BACK = 0.01


def seconds_of(text: str) -> float:
    """Seconds that "2s", "0.5 s" or "2" mean.

    Raises
    ------
    FilmFileError
        It is written otherwise.
    """
    found = re.fullmatch(r"\s*(\d{1,6}(?:\.\d{1,6})?)\s*s?\s*", text)
    if found is None:
        raise FilmFileError(f'every "{text[:40]}": must be seconds, such as "2s".')
    return float(found[1])


#: Speed that no machine for floors reaches, mm/s: they drive at 200 to 500 (common practice, no source).
_LEAPS_MM_S = 1000.0
#: Variance of what bare floor shows as debris, as a share of its square: a frame is compressed and blurred unlike the
#: blank, and its own floor is what it is held against, so that it may show all of that or nothing (rectangular).
_TAKEN_FOR = 1 / 3
#: Of five simulated films two were off by five points without a blank, and within 1.5 or 3.2 with it.
_WITHOUT_BLANK = Flag(
    code="no-blank",
    severity="doubtful",
    sentence="without a photo of the clean floor, what of the floor looks like the debris counts as debris. "
    "Give one with --blank",
)


def measure_film(
    film: str | PathLike[str],
    *,
    patch: Patch | str | PathLike[str],
    blank: PhotoSource | None = None,
    debris: Sequence[DebrisKind | str | PathLike[str]] = (),
    lens: CameraLens | str | PathLike[str] | None = None,
    every_s: float = 2.0,
    machine_height_mm: float = USUAL_HEIGHT_MM,
    at_once: int | None = None,
    scheduler: str | None = None,
    progress: Progress | None = None,
) -> MeasuredFilm:
    """Measure debris left against time, and the machine's way, from a film of the machine at work.

    Parameters
    ----------
    film : path
        The film; it shows the patch's markers, begins before the machine comes and ends after it has gone.
    patch : Patch or path
        The marked rectangle of floor.
    blank : path or ndarray, optional
        Photo of the clean floor.
    debris : sequence of DebrisKind or path
        The kinds to look for. Without any, what the machine took away tells.
    lens : CameraLens or path, optional
        The camera's lens when it films.
    every_s : float
        Seconds from sample to sample.
    machine_height_mm : float
        Of the machine, whose top seems to lie farther out than it stands.
    at_once : int, optional
        How many stretches of the film are looked at at once; as many as there are cores if not given.
    scheduler : str, optional
        Address of a Dask scheduler whose workers reach the film under the same path.
    progress : callable, optional
        Told the share done, 0 to 1, and what is being done.

    Returns
    -------
    MeasuredFilm

    Raises
    ------
    FilmFileError
        The film cannot be read or sampled so.
    InputFileError, PhotoFileError
        Another file cannot be used.
    MarkerError, PhotosDifferError, PhotoUnfitError
        The film's first and last frame cannot be measured.
    NoDebrisError
        The first frame shows no debris.
    MissingLibraryError, ClusterError
        There is no Dask, or its scheduler does not answer.
    """
    tell: Progress = progress if progress is not None else lambda _done, _what: None
    least, most = EVERY_S
    if not least <= every_s <= most:
        raise FilmFileError(f"every {every_s:g} s: must be from {least:g} s to {most:g} s. Give a step such as 2s.")
    patch = loaded(patch, read_patch)
    lens = None if lens is None else loaded(lens, read_lens)
    kinds = read_kinds(debris)
    tell(0.0, "reading the film")
    file = open_film(film)
    clear = _clear_frames(file)
    file = replace(file, smaller=_needless(clear["before"], patch, kinds))
    clear = {name: Frame(frame.t_s, shrunk(frame.bgr, file)) for name, frame in clear.items()}
    photos = {} if blank is None else {"blank": load_photo(blank, "blank", MOST_MEGAPIXELS)}
    blank_file, blank_sum = ("", "") if blank is None else (photos["blank"].file, photos["blank"].sha256)
    photos |= {name: _as_photo(frame, f"{file.name} at {frame.t_s:.1f} s") for name, frame in clear.items()}
    photos, told = side_by_side(photos)
    known = learn_floor(
        photos,
        {name: frame.bgr for name, frame in clear.items()},
        patch,
        kinds,
        lens,
        lambda done, what: tell(0.15 * done, what),
    )
    if known is None:
        raise NoDebrisError(f"{file.name}: the first frame shows no debris. Begin to film before the machine starts.")
    steps = max(1, round(every_s / TRACK_S))
    looking = looking_at(file, patch, known, clear, every_s, every_s / steps)
    parts = stretches(file, looking.step_s, steps)
    begins = frames_at(file, [begin * looking.step_s for begin, _ in parts])
    looking, stands = with_stands(looking, chain(begins, [clear["after"]]))
    watch = Watch.of(looking, machine_height_mm)
    everything = [(stand, *part) for stand, part in zip(stands, parts, strict=False)]
    with ways_to_look(at_once, scheduler) as spread, closing(spread(looking, everything)) as found:
        for looks, ended in found:
            watch.take(looks)
            done = (looks[-1].t_s if looks else 0.0) / max(file.seconds or 0.0, 1e-9)
            tell(0.15 + 0.8 * min(1.0, done), "following the machine")
            if ended:
                break
    watch.end()
    noted = [Flag(code="photos", severity="note", sentence=one) for one in told]
    return _measured(watch, every_s, (blank_file, blank_sum), [*noted, *([_WITHOUT_BLANK] if blank is None else [])])


def _needless(frame: Frame, patch: Patch, kinds: Sequence[DebrisKind]) -> int:
    """Whole factor by which frames of a large film can be made smaller with grains that still have an outline."""
    height, width = frame.bgr.shape[:2]
    long = max(width, height)
    if long <= _LARGE_PX or not kinds:
        return 1
    there = found_anew(frame.bgr, patch, Lens(((width - 1) / 2, (height - 1) / 2), (FOCAL_SHARE * long,) * 2))
    if there is None:
        return 1
    middle = np.array([[patch.width_mm / 2, patch.height_mm / 2]])
    grain_px = min(kind.size_mm[0] for kind in kinds) / float(there.view.mm_per_px(middle)[0])
    return int(max(1, min(grain_px // OUTLINED_PX, round(long / _FULL_HD_PX))))


def _as_photo(frame: Frame, name: str) -> Photo:
    return photo_from_array(np.asarray(cv2.cvtColor(frame.bgr, cv2.COLOR_BGR2RGB), np.uint8), name)


def _clear_frames(file: FilmFile) -> dict[str, Frame]:
    """Frames of start and end that differ in the least part: the machine is in none of them, at best."""
    start, end = list(filter(None, frames_at(file, _CANDIDATES_S))), last_frames(file, _CANDIDATES_S)
    small = {
        id(frame): np.asarray(cv2.resize(frame.bgr, (160, 90), interpolation=cv2.INTER_AREA), np.int16)
        for frame in (*start, *end)
    }

    def changed(a: Frame, b: Frame) -> float:
        return float((np.abs(small[id(a)] - small[id(b)]).max(axis=2) > 24).mean())

    pairs = [(changed(a, b), i + k, a, b) for i, a in enumerate(start) for k, b in enumerate(end) if a.t_s < b.t_s]
    if not pairs:
        raise FilmFileError(f"{file.name}: is too short to tell before from after. Give a film of a second or more.")
    # Of pairs that are alike in this, the one farthest apart.
    _, _, before, after = min(pairs, key=lambda pair: (round(pair[0], 2), pair[1]))
    return {"before": before, "after": after}


def _measured(watch: Watch, every_s: float, blank: tuple[str, str], noted: Sequence[Flag]) -> MeasuredFilm:
    if not watch.times:
        raise FilmFileError(f"{watch.looking.file.name}: no frame can be read.")
    patch, state, known = watch.looking.patch, watch.state, watch.looking.known
    places = np.array([(m.x_mm, m.y_mm) if m is not None else (np.nan, np.nan) for m in watch.machines])
    width = None if watch.radius_mm is None else 2 * watch.radius_mm
    track = track_of(np.array(watch.times), places[:, 0], places[:, 1], width)
    driven = with_strips(lanes(track, patch), state, watch.looking.places_mm, every_s)
    never_back = float((state.patch & (state.since < len(state.times) - 1)).sum() / max(int(state.patch.sum()), 1))
    curve = state.curve()
    left, by_kind, like_debris = _left(watch, curve)
    return MeasuredFilm(
        film=watch.looking.file,
        patch=patch,
        every_s=every_s,
        machine_height_mm=watch.height_mm,
        blank_file=blank[0],
        blank_sha256=blank[1],
        kinds=known.kinds,
        grid=known.grid,
        floor_view=watch.looking.floor_view,
        times_s=curve.times_s,
        left=left,
        left_by_kind=by_kind,
        hidden_percent=100 * curve.hidden_share,
        track=track,
        lanes=driven,
        turns=turns(driven),
        outings=outings(track, patch),
        moves=tuple(watch.moves),
        read_s=watch.times[-1],
        flags=(
            *known.warnings,
            *like_debris,
            *_flags(watch, places, never_back),
            *noted,
        ),
    )


def _left(watch: Watch, curve: Curve) -> tuple[dict[str, LeftOver], dict[str, dict[str, LeftOver]], list[Flag]]:
    """What is left of all debris and, if there are several kinds, of each; and a flag if floor looks like debris."""
    known, (rows, columns), block = watch.looking.known, watch.looking.shape, watch.looking.block_px
    usable = known.usable[: rows * block, : columns * block]
    judged = usable.reshape(rows, block, columns, block).sum(axis=(1, 3)).ravel() * known.grid.mm_per_px**2
    floor = watch.state.zones @ judged
    bare, spots = (np.outer(one, floor) for one in (known.background_mm2, known.background_mm4))
    spots += (known.either_mm2 * floor / max(float(floor[0]), 1e-9)) ** 2 + _TAKEN_FOR * bare**2
    names = ("patch", *watch.looking.patch.zone_names())
    together, *apart = left_over(curve, names, bare, spots, watch.doubts)
    unsure = float(100 * np.sqrt(spots[0, 0]) / max(float(together["patch"].area_mm2[0]), 1e-9))
    flags = [] if REACH * unsure <= SOUND else [_floor_like_debris(REACH * unsure)]
    return together, dict(zip((kind.name for kind in known.kinds), apart, strict=False)), flags


def _floor_like_debris(points: float) -> Flag:
    return Flag(
        code="hardly-told",
        severity="doubtful",
        sentence=f"floor that looks like the debris may put the curve off by {points:.1f} points. Test with debris of "
        "another colour, or on another floor",
    )


def leaps_s(times_s: Floats, places_mm: Floats) -> Floats:
    """When places of shape (S, 2), NaN where the machine was not seen, are farther apart than a machine drives."""
    seen = np.isfinite(places_mm[:, 0])
    times_s, far = times_s[seen], np.hypot(*np.diff(places_mm[seen], axis=0).T)
    return np.asarray(times_s[1:][far > _LEAPS_MM_S * np.diff(times_s)])


def _flags(watch: Watch, places: Floats, never_back: float) -> list[Flag]:
    found = [
        Flag(
            code="camera-moved",
            severity="note",
            sentence=f"the camera was moved at {move.t_s:.1f} s, by {move.by_mm:.0f} mm on the floor; it was followed "
            "by the markers. Fix the tripod to the floor",
        )
        for move in watch.moves
    ]
    leaps = leaps_s(np.array(watch.times), places)
    if len(leaps):
        found.append(
            Flag(
                code="machine-leaps",
                severity="doubtful",
                sentence=f"the machine seems to leap at {leaps[0]:.1f} s: where it stands in view as the film begins "
                "or ends, bare floor is taken for it later; its way there is doubtful. Begin and end with the machine "
                "out of view",
            )
        )
    file = watch.looking.file
    if file.ends_early(watch.times[-1]):
        found.append(
            Flag(
                code="film-cut-off",
                severity="doubtful",
                sentence=f"the film can be read up to {watch.times[-1]:.1f} s of the {file.seconds:.1f} s that "
                "its file claims; the rest is missing. Copy it from the camera again",
            )
        )
    if watch.unplaced:
        found.append(
            Flag(
                code="markers-hidden",
                severity="note",
                sentence=f"{watch.unplaced} of {len(watch.times)} frames show no marker in its place; nothing was seen "
                "in them, and they were bridged",
            )
        )
    if len(watch.looking.known.kinds) > 1:
        found.append(
            Flag(
                code="kinds-apart",
                severity="note",
                sentence="kinds are told apart pixel by pixel in a film: what is left of one of them alone may be far "
                "off, and has no interval. Take photos before and after for a figure of each",
            )
        )
    if never_back > _NEVER_BACK:
        found.append(
            Flag(
                code="hidden-to-the-end",
                severity="doubtful",
                sentence=f"{100 * never_back:.0f} % of the patch is hidden when the film ends and stands as it was "
                "last seen. Film on until the machine has left the patch",
            )
        )
    return found
