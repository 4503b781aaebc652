"""A stretch of a film, frame by frame: where the camera is, what is in the way, and what lies where.

A stretch needs nothing of the ones before it, so that several are looked at at once, each with the film opened anew.
"""

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from ..arrays import Floats, Mask
from ..camera.view import FloorToPhoto
from ..inputs.patch import Patch
from ..photo.colour import srgb_pixels
from ..registration.grid import FloorGrid
from .floor import KnownFloor
from .frames import FilmFile, Frame, stretch_of
from .hidden import Search, Standing, cell_grid
from .machine import Outline, outline_of
from .maps import CellMap, FloorMap, aligned_map
from .place import Place, followed, found_anew

#: Side of the places whose debris is followed through time, mm: the size of a grain.
_PLACE_MM = 5.0
#: Seconds for which nothing is counted once the camera was moved: a tripod shakes, and compression shows things
#: beside their places until the next key frame, in phones' films a second later (common practice, no source).
_SHAKES_S = 1.5


@dataclass(frozen=True, slots=True, eq=False)
class Stand:
    """A place of the camera, and where cells and floor view lie in frames taken from there."""

    place: Place
    cells: CellMap
    floor: FloorMap


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Looking:
    """All that it takes to look at any stretch of a film.

    ``places_mm`` of shape (N, 2) are the places whose debris is followed, blocks of ``block_px`` pixels of the floor
    view in ``shape`` rows and columns; ``cell_index`` of shape (N,) is the cell of each. ``stands`` are where the
    camera is known to have been, the first one at first. ``floor_view`` of shape (H, W, 3) is the floor at first, sRGB.
    A frame is looked at every ``step_s`` and its debris counted every ``every_s``.
    """

    file: FilmFile
    patch: Patch
    known: KnownFloor
    search: Search
    places_mm: Floats
    block_px: int
    shape: tuple[int, int]
    cell_index: NDArray[np.intp]
    stands: tuple[Stand, ...]
    floor_view: NDArray[np.uint8]
    every_s: float
    step_s: float


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Look:
    """What one frame shows.

    ``view`` is where the camera is, None where no marker tells; ``outline`` that of the largest thing. In frames whose
    debris is counted, ``areas_mm2`` of shape (R, N) is debris in every place, all of it and each kind, and ``seen``
    which of them are; else None.
    """

    t_s: float
    view: FloorToPhoto | None = None
    outline: Outline | None = None
    areas_mm2: NDArray[np.float32] | None = None
    seen: Mask | None = None

    @property
    def counted(self) -> bool:
        """Whether this frame is a sample."""
        return self.areas_mm2 is not None


def looking_at(
    file: FilmFile, patch: Patch, known: KnownFloor, clear: dict[str, Frame], every_s: float, step_s: float
) -> Looking:
    """Get ready to look at a film whose floor is known; ``clear`` are its first and its last clear frame."""
    cells, grid = cell_grid(known, file.frame_px), known.grid
    block = max(1, round(_PLACE_MM / grid.mm_per_px))
    rows, columns = grid.height_px // block, grid.width_px // block
    step, first = block * grid.mm_per_px, (block - 1) / 2 * grid.mm_per_px
    x, y = np.meshgrid(grid.x0_mm + first + step * np.arange(columns), grid.y0_mm + first + step * np.arange(rows))
    places = np.stack([x.ravel(), y.ravel()], axis=-1)
    at = np.round(cells.to_px(places)).astype(int)
    index = np.ravel_multi_index((at[:, 1], at[:, 0]), cells.shape)
    last = found_anew(clear["after"].bgr, patch, known.lens) or known.start
    start_cells = CellMap.of(known.start.view, cells, file.frame_px)
    begin = start_cells.cells(clear["before"].bgr)
    end = CellMap.of(last.view, cells, file.frame_px).cells(clear["after"].bgr)
    search = Search(known, cells, begin, end)
    standing = search.standing(begin)
    hidden, light = standing.hidden.ravel()[index], _light(known, cells, standing)
    floor = _laid_on(known, clear["before"].bgr, known.start.view, hidden.reshape(rows, columns), light)
    return Looking(
        file=file,
        patch=patch,
        known=known,
        search=search,
        places_mm=places,
        block_px=block,
        shape=(rows, columns),
        cell_index=np.asarray(index, np.intp),
        stands=(Stand(known.start, start_cells, floor),),
        floor_view=srgb_pixels(floor.view(clear["before"].bgr) * light),
        every_s=every_s,
        step_s=step_s,
    )


def with_stands(looking: Looking, frames: Iterable[Frame | None]) -> tuple[Looking, list[int]]:
    """Follow the camera roughly, by a frame of each stretch's beginning.

    Parameters
    ----------
    looking : Looking
        With the camera's first place.
    frames : iterable of Frame or None
        In order; None for what cannot be reached.

    Returns
    -------
    Looking
        With all places that were found, the floor laid on itself by the frame in which least is hidden.
    list of int
        Number of the place of each of the frames.
    """
    known, places, numbers = looking.known, [looking.known.start], []
    best: dict[int, tuple[float, Frame, CellMap, Standing]] = {}
    at = 0
    for frame in frames:
        place = None if frame is None else followed(frame.bgr, places[at], places, looking.patch, known.lens)
        if frame is not None and place is not None:
            if place not in places:
                places.append(place)
            at = places.index(place)
            if at > 0:
                cells = CellMap.of(place.view, looking.search.cells, looking.file.frame_px)
                standing = looking.search.standing(cells.cells(frame.bgr))
                share = float(standing.hidden.mean())
                if at not in best or share < best[at][0]:
                    best[at] = share, frame, cells, standing
        numbers.append(at)
    stands = list(looking.stands)
    for number in range(1, len(places)):
        _, shown, cells, standing = best[number]
        hidden = standing.hidden.ravel()[looking.cell_index].reshape(looking.shape)
        light = _light(known, looking.search.cells, standing)
        floor = _laid_on(known, shown.bgr, places[number].view, hidden, light)
        stands.append(Stand(places[number], cells, floor))
    return replace(looking, stands=tuple(stands)), numbers


def looks_of(looking: Looking, begin: int, end: int | None, stand: int) -> tuple[list[Look], bool]:
    """Look at the frames of a stretch.

    Parameters
    ----------
    looking : Looking
    begin, end : int
        From which step to which; None for the film's end.
    stand : int
        Number of the camera's place when it begins.

    Returns
    -------
    list of Look
    bool
        Whether the film ended before the stretch did.
    """
    eye = _Eye(looking, math.ceil(begin * looking.step_s / looking.every_s - 1e-6), looking.stands[stand])
    looks: list[Look] = []
    for frame in stretch_of(looking.file, looking.step_s, begin, end):
        if frame is None:
            return looks, True
        looks.append(eye.look(frame))
    return looks, False


class _Eye:
    """Looks at frame after frame of one stretch."""

    def __init__(self, looking: Looking, sample: int, stand: Stand) -> None:
        self._all, self._sample = looking, sample
        self._place, self._cells = stand.place, stand.cells
        self._floor: FloorMap | None = stand.floor
        self._steady_s = 0.0

    def look(self, frame: Frame) -> Look:
        known, nothing = self._all.known, np.zeros(len(self._all.places_mm), bool)
        empty = np.zeros((known.rows, len(nothing)), np.float32)
        counts = frame.t_s >= self._sample * self._all.every_s - 5e-4
        if counts:
            self._sample = math.floor(frame.t_s / self._all.every_s + 1e-6) + 1
        others = [stand.place for stand in self._all.stands]
        place = followed(frame.bgr, self._place, others, self._all.patch, known.lens)
        if place is None:
            return Look(t_s=frame.t_s, areas_mm2=empty if counts else None, seen=nothing if counts else None)
        if place is not self._place:
            self._move_to(place)
            self._steady_s = frame.t_s + _SHAKES_S
        cells = self._cells.cells(frame.bgr)
        standing = self._all.search.standing(cells)
        outline = outline_of(standing.thing, cells, self._all.search.cells)
        look = Look(t_s=frame.t_s, view=place.view, outline=outline)
        if not counts:
            return look
        hidden = standing.hidden.ravel()[self._all.cell_index]
        if frame.t_s < self._steady_s:
            return replace(look, areas_mm2=empty, seen=nothing)
        areas = self._areas(frame, standing, hidden)
        return replace(look, areas_mm2=areas, seen=~hidden)

    def _move_to(self, place: Place) -> None:
        self._place = place
        for stand in self._all.stands:
            if stand.place is place:
                self._cells, self._floor = stand.cells, stand.floor
                return
        self._cells = CellMap.of(place.view, self._all.search.cells, self._all.file.frame_px)
        self._floor = None

    def _areas(self, frame: Frame, standing: Standing, hidden: Mask) -> NDArray[np.float32]:
        """Debris in all places, mm², shape (R, N)."""
        known, block = self._all.known, self._all.block_px
        light = _light(known, self._all.search.cells, standing)
        if self._floor is None:
            self._floor = _laid_on(known, frame.bgr, self._place.view, hidden.reshape(self._all.shape), light)
        view = self._floor.view(frame.bgr)
        view *= light
        rows, columns = self._all.shape
        areas = []
        for shows in known.debris_by_kind(view):
            shows[~self._floor.seen] = 0
            cut = shows[: rows * block, : columns * block]
            areas.append(cv2.resize(cut, (columns, rows), interpolation=cv2.INTER_AREA).ravel())
        return np.asarray(np.array(areas) * np.float32((block * known.grid.mm_per_px) ** 2), np.float32)


def _light(known: KnownFloor, cells: FloorGrid, standing: Standing) -> NDArray[np.float32]:
    """Factor that brings a floor view to the film's own light, shape (H, W, 3)."""
    grid = known.grid
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


def _laid_on(
    known: KnownFloor, bgr: NDArray[np.uint8], view: FloorToPhoto, hidden: Mask, light: NDArray[np.float32]
) -> FloorMap:
    """The floor view of a place of the camera, laid on the floor by its texture where nothing lies on it."""
    free = cv2.resize(1 - hidden.astype(np.uint8), known.grid.shape[::-1], interpolation=cv2.INTER_NEAREST) > 0
    roughly = FloorMap.of(view, known.grid, (bgr.shape[1], bgr.shape[0])).view(bgr)
    strewn = cv2.dilate((known.debris(roughly * light) > 0).astype(np.uint8), np.ones((5, 5), np.uint8)) > 0
    return aligned_map(bgr, view, known.grid, known.bare, known.usable & free & ~strewn)
