"""A film as a whole: from the file to debris left against time, and the machine's way."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from os import PathLike

import cv2
import numpy as np
from numpy.typing import NDArray

from ..arrays import Floats, Mask
from ..camera.view import FloorToPhoto, camera_place
from ..errors import FilmFileError, NoDebrisError
from ..flags import Flag
from ..inputs.debris import DebrisKind
from ..inputs.lens import CameraLens
from ..inputs.lens_file import read_lens
from ..inputs.patch import ZONES, Patch, zone_in_patch
from ..inputs.patch_file import read_patch
from ..photo.colour import luminance_view, srgb_pixels
from ..photo.limits import MOST_MEGAPIXELS
from ..photo.read import Photo, photo_from_array
from ..photo.shots import side_by_side
from ..registration.align import improve_shift, no_shift, texture_pull
from ..registration.resample import Shift
from ..run.sources import PhotoSource, Progress, load_photo, loaded, read_kinds
from .curve import State
from .floor import KnownFloor, learn_floor
from .frames import FilmFile, Frame, first_frames, last_frames, open_film, sampled_frames
from .hidden import Search, Standing, cell_grid
from .machine import USUAL_HEIGHT_MM, SeenMachine, seen_machine
from .maps import CellMap, FloorMap
from .place import MOVED_PX, Place, found_anew
from .records import CameraMove, LeftOver, MeasuredFilm
from .strips import with_strips
from .track import lanes, outings, track_of, turns

#: Seconds from look to look at the machine: at a walking pace it moves by a quarter of itself.
TRACK_S = 0.2
#: Seconds between samples that can be asked for.
EVERY_S = (0.04, 600.0)
#: Side of the places whose debris is followed through time, mm: the size of a grain.
_PLACE_MM = 5.0
#: Seconds from start and end at which clear frames are sought.
_CANDIDATES_S = (0.0, 0.6, 1.5, 3.0)
#: Rounds of alignment on the floor's texture.
_ROUNDS = 2
#: Share of the patch that is hidden to the end from which on that is told.
_NEVER_BACK = 0.01


def measure_film(
    film: str | PathLike[str],
    *,
    patch: Patch | str | PathLike[str],
    blank: PhotoSource | None = None,
    debris: Sequence[DebrisKind | str | PathLike[str]] = (),
    lens: CameraLens | str | PathLike[str] | None = None,
    every_s: float = 2.0,
    machine_height_mm: float = USUAL_HEIGHT_MM,
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
    photos = {} if blank is None else {"blank": load_photo(blank, "blank", MOST_MEGAPIXELS)}
    blank_file, blank_sum = ("", "") if blank is None else (photos["blank"].file, photos["blank"].sha256)
    photos |= {name: _as_photo(frame, f"{file.name} at {frame.t_s:.1f} s") for name, frame in clear.items()}
    photos, told = side_by_side(photos)
    known = learn_floor(photos, clear["before"].bgr, patch, kinds, lens, lambda done, what: tell(0.15 * done, what))
    if known is None:
        raise NoDebrisError(f"{file.name}: the first frame shows no debris. Begin to film before the machine starts.")
    watch = _Watch.of(file, patch, known, clear, machine_height_mm)
    steps = max(1, round(every_s / TRACK_S))
    for frame in sampled_frames(file, every_s / steps):
        watch.look(frame, every_s)
        tell(0.15 + 0.8 * min(1.0, frame.t_s / max(file.seconds or frame.t_s, 1e-9)), "following the machine")
    return _measured(watch, every_s, (blank_file, blank_sum), told)


def _as_photo(frame: Frame, name: str) -> Photo:
    return photo_from_array(np.asarray(cv2.cvtColor(frame.bgr, cv2.COLOR_BGR2RGB), np.uint8), name)


def _clear_frames(file: FilmFile) -> dict[str, Frame]:
    """Frames of start and end that differ from each other in the least part: the machine is in none of them, at best."""
    start, end = first_frames(file, _CANDIDATES_S), last_frames(file, _CANDIDATES_S)
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


@dataclass(slots=True, eq=False, kw_only=True)
class _Watch:
    """A film at work: what is known so far."""

    file: FilmFile
    patch: Patch
    known: KnownFloor
    height_mm: float
    search: Search
    state: State
    places_mm: Floats
    block_px: int
    cell_index: NDArray[np.intp]
    place: Place
    fine: FloorMap | None = None
    coarse: CellMap | None = None
    camera: Floats = field(default_factory=lambda: np.zeros(3))
    times: list[float] = field(default_factory=list)
    machines: list[SeenMachine | None] = field(default_factory=list)
    radii: list[float] = field(default_factory=list)
    moves: list[CameraMove] = field(default_factory=list)
    unplaced: int = 0
    next_s: float = 0.0
    floor_view: NDArray[np.uint8] | None = None

    @classmethod
    def of(cls, file: FilmFile, patch: Patch, known: KnownFloor, clear: dict[str, Frame], height_mm: float) -> "_Watch":
        """Begin with the camera where it was at first."""
        cells, grid = cell_grid(known, file.size_px), known.grid
        block = max(1, round(_PLACE_MM / grid.mm_per_px))
        rows, columns = grid.height_px // block, grid.width_px // block
        step, first = block * grid.mm_per_px, (block - 1) / 2 * grid.mm_per_px
        x, y = np.meshgrid(grid.x0_mm + first + step * np.arange(columns), grid.y0_mm + first + step * np.arange(rows))
        places = np.stack([x.ravel(), y.ravel()], axis=-1)
        codes = patch.zone_codes(*places.T)
        inside = zone_in_patch(codes)
        zones = np.stack([inside, *(codes == ZONES.index(name) for name in patch.zone_names())])
        at = np.round(cells.to_px(places)).astype(int)
        index = np.ravel_multi_index((at[:, 1], at[:, 0]), cells.shape)
        last_place = found_anew(clear["after"].bgr, patch, known.lens) or known.start
        views = [
            CellMap.of(place.view, cells, file.size_px).cells(clear[name].bgr)
            for name, place in (("before", known.start), ("after", last_place))
        ]
        return cls(
            file=file,
            patch=patch,
            known=known,
            height_mm=height_mm,
            search=Search(known, cells, *views),
            state=State(zones, inside),
            places_mm=places,
            block_px=block,
            cell_index=np.asarray(index, np.intp),
            place=known.start,
        )

    def look(self, frame: Frame, every_s: float) -> None:
        """Take one frame: where the camera is, what is in the way, where the machine is, and what lies there."""
        due = frame.t_s >= self.next_s - 5e-4
        if due:
            self.next_s = (math.floor(frame.t_s / every_s + 1e-6) + 1) * every_s
        if not self._placed(frame):
            self.unplaced += 1
            self._note(frame.t_s, None)
            if due:
                nowhere = np.zeros(len(self.places_mm))
                self.state.see(frame.t_s, nowhere, nowhere > 0)
            return
        if self.coarse is None:
            self.coarse = CellMap.of(self.place.view, self.search.cells, self.file.size_px)
            self.camera = camera_place(self.place.view)
        cells = self.coarse.cells(frame.bgr)
        standing = self.search.standing(cells)
        radius = float(np.median(self.radii)) if self.radii else None
        machine = seen_machine(standing.thing, cells, self.search.cells, self.camera, self.height_mm, radius)
        # The radius is learned from machines that are seen whole, as many as tell it well.
        if machine is not None and machine.whole and len(self.radii) < 25:
            again = seen_machine(standing.thing, cells, self.search.cells, self.camera, self.height_mm, None)
            if again is not None:
                self.radii.append(again.radius_mm)
        self._note(frame.t_s, machine)
        if due:
            self._count(frame, standing)

    def _placed(self, frame: Frame) -> bool:
        """Whether it is known where the camera looks; a camera that was moved is followed."""
        holds = self.place.holds(frame.bgr)
        if holds:
            return True
        anew = found_anew(frame.bgr, self.patch, self.known.lens)
        if anew is None:
            return holds is not None
        slid = _slid_px(self.place.view, anew.view, self.patch)
        if slid > MOVED_PX:
            middle = np.array([[self.patch.width_mm / 2, self.patch.height_mm / 2]])
            by = float(np.hypot(*(anew.view.floor_mm(self.place.view.project(middle)) - middle)[0]))
            self.moves.append(CameraMove(t_s=frame.t_s, by_mm=by))
            self.place, self.fine, self.coarse = anew, None, None
        return True

    def _note(self, t_s: float, machine: SeenMachine | None) -> None:
        """Add a place to the way, and tell which floor the machine's middle has passed since the last one."""
        before = self.machines[-1] if self.machines else None
        if machine is not None:
            now = np.array([machine.x_mm, machine.y_mm])
            start, start_s = (now, t_s) if before is None else (np.array([before.x_mm, before.y_mm]), self.times[-1])
            step = now - start
            length = float(step @ step)
            share = (
                np.clip((self.places_mm - start) @ step / length, 0, 1) if length > 0 else np.zeros(len(self.places_mm))
            )
            away = self.places_mm - start - share[:, None] * step
            self.state.pass_over(start_s + share * (t_s - start_s), np.hypot(*away.T), machine.radius_mm)
        self.times.append(t_s)
        self.machines.append(machine)

    def _count(self, frame: Frame, standing: Standing) -> None:
        """Count the debris in all places that are seen."""
        grid = self.known.grid
        if self.fine is None:
            self.fine = FloorMap.of(self.place.view, grid, self.file.size_px, self._shift(frame, standing))
        view = self.fine.view(frame.bgr)
        view *= self._light(standing)
        if self.floor_view is None:
            self.floor_view = srgb_pixels(view)
        shows = self.known.debris(view)
        shows[~self.fine.seen] = 0
        rows, columns = (n // self.block_px for n in grid.shape)
        cut = shows[: rows * self.block_px, : columns * self.block_px]
        mean = cv2.resize(cut, (columns, rows), interpolation=cv2.INTER_AREA)
        areas = mean.ravel().astype(float) * (self.block_px * grid.mm_per_px) ** 2
        seen = ~standing.hidden.ravel()[self.cell_index]
        self.state.see(frame.t_s, areas, seen)

    def _light(self, standing: Standing) -> NDArray[np.float32]:
        """Factor that brings a floor view to the film's own light, shape (H, W, 3)."""
        grid, cells = self.known.grid, self.search.cells
        scale = grid.mm_per_px / cells.mm_per_px
        to_cells = np.array(
            [
                [scale, 0, (grid.x0_mm - cells.x0_mm) / cells.mm_per_px],
                [0, scale, (grid.y0_mm - cells.y0_mm) / cells.mm_per_px],
            ]
        )
        uneven = cv2.warpAffine(
            standing.uneven, to_cells, (grid.width_px, grid.height_px), flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
        )
        return np.asarray(uneven[..., None] * standing.gain.astype(np.float32), np.float32)

    def _shift(self, frame: Frame, standing: Standing) -> Shift:
        """How this place of the camera must be corrected so that the floor's texture lies on itself."""
        grid = self.known.grid
        target = _log(self.known.bare)
        hidden = standing.hidden.ravel()[self.cell_index].reshape(
            grid.height_px // self.block_px, grid.width_px // self.block_px
        )
        free = cv2.resize((~hidden).astype(np.uint8), grid.shape[::-1], interpolation=cv2.INTER_NEAREST) > 0
        shift = no_shift(grid)
        for _ in range(_ROUNDS):
            there = FloorMap.of(self.place.view, grid, self.file.size_px, shift)
            view = there.view(frame.bgr)
            usable: Mask = (
                self.known.usable & there.seen & free & (self.known.debris(view * self._light(standing)) == 0)
            )
            pull = texture_pull(target, _log(view), usable, grid)
            shift = improve_shift(shift, pull, grid.mm_per_px, grid.mm_per_px)
        return shift


def _log(view: NDArray[np.float32]) -> NDArray[np.float32]:
    return np.asarray(np.log(np.maximum(luminance_view(view), np.float32(1e-3))), np.float32)


def _slid_px(one: FloorToPhoto, other: FloorToPhoto, patch: Patch) -> float:
    """How far the patch's corners lie apart in two views, root mean square, px."""
    corners = patch.corners_mm()
    return float(np.sqrt(((one.project(corners) - other.project(corners)) ** 2).sum(axis=1).mean()))


def _measured(watch: _Watch, every_s: float, blank: tuple[str, str], told: tuple[str, ...]) -> MeasuredFilm:
    if watch.floor_view is None:
        raise FilmFileError(f"{watch.file.name}: no frame shows where the patch lies.")
    patch, state, known = watch.patch, watch.state, watch.known
    places = np.array([(m.x_mm, m.y_mm) if m is not None else (np.nan, np.nan) for m in watch.machines])
    width = 2 * float(np.median(watch.radii)) if watch.radii else None
    track = track_of(np.array(watch.times), places[:, 0], places[:, 1], width)
    driven = with_strips(lanes(track, patch), state, watch.places_mm, every_s)
    never_back = float((state.patch & (state.since < len(state.times) - 1)).sum() / max(int(state.patch.sum()), 1))
    curve = state.curve()
    return MeasuredFilm(
        film=watch.file,
        patch=patch,
        every_s=every_s,
        machine_height_mm=watch.height_mm,
        blank_file=blank[0],
        blank_sha256=blank[1],
        kinds=known.kinds,
        grid=known.grid,
        floor_view=watch.floor_view,
        times_s=curve.times_s,
        left=_left(watch, curve.area_mm2, curve.low_mm2, curve.high_mm2),
        hidden_percent=100 * curve.hidden_share,
        track=track,
        lanes=driven,
        turns=turns(driven),
        outings=outings(track, patch),
        moves=tuple(watch.moves),
        read_s=watch.times[-1],
        flags=(
            *known.warnings,
            *_flags(watch, never_back),
            *(Flag(code="photos", severity="note", sentence=one) for one in told),
        ),
    )


def _left(watch: _Watch, area: Floats, low: Floats, high: Floats) -> dict[str, LeftOver]:
    """Areas less what bare floor shows, and their share of what lay there at first; the margin's gain is the patch's."""
    names = ("patch", *watch.patch.zone_names())
    pixel = watch.known.grid.mm_per_px**2
    rows, columns = (n // watch.block_px for n in watch.known.grid.shape)
    usable = watch.known.usable[: rows * watch.block_px, : columns * watch.block_px]
    judged = usable.reshape(rows, watch.block_px, columns, watch.block_px).sum(axis=(1, 3)).ravel() * pixel
    bare = watch.known.background_mm2 * (watch.state.zones @ judged)
    area, low, high = area - bare, low - bare, high - bare
    if "margin" in names:
        margin = area[:, names.index("margin")]
        gain = np.maximum(margin - margin[0], 0)
        for those in (area, low, high):
            those[:, 0] += gain
    left = {}
    for number, name in enumerate(names):
        start = area[0, number]
        whole = start if start > 0 else np.nan
        left[name] = LeftOver(
            area_mm2=np.maximum(area[:, number], 0),
            percent=100 * area[:, number] / whole,
            low_percent=100 * low[:, number] / whole,
            high_percent=100 * high[:, number] / whole,
        )
    return left


def _flags(watch: _Watch, never_back: float) -> list[Flag]:
    found = [
        Flag(
            code="camera-moved",
            severity="note",
            sentence=f"the camera was moved at {move.t_s:.1f} s, by {move.by_mm:.0f} mm on the floor; it was followed by "
            "the markers. Fix the tripod to the floor",
        )
        for move in watch.moves
    ]
    if watch.file.ends_early(watch.times[-1]):
        found.append(
            Flag(
                code="film-cut-off",
                severity="doubtful",
                sentence=f"the film can be read up to {watch.times[-1]:.1f} s of the {watch.file.seconds:.1f} s that its "
                "file claims; the rest is missing. Copy it from the camera again",
            )
        )
    if watch.unplaced:
        found.append(
            Flag(
                code="markers-hidden",
                severity="note",
                sentence=f"{watch.unplaced} of {len(watch.times)} frames show no marker in its place; nothing was seen in "
                "them, and they were bridged",
            )
        )
    if never_back > _NEVER_BACK:
        found.append(
            Flag(
                code="hidden-to-the-end",
                severity="doubtful",
                sentence=f"{100 * never_back:.0f} % of the patch is hidden when the film ends and stands as it was last "
                "seen. Film on until the machine has left the patch",
            )
        )
    return found
