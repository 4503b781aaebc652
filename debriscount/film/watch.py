"""A film frame by frame: where the camera is, what is in the way, where the machine is, and what lies there."""

import math
from dataclasses import dataclass, field

import cv2
import numpy as np
from numpy.typing import NDArray

from ..arrays import Floats, Mask
from ..camera.view import FloorToPhoto, camera_place
from ..inputs.patch import ZONES, Patch, zone_in_patch
from ..photo.colour import srgb_pixels
from .curve import State
from .floor import KnownFloor
from .frames import FilmFile, Frame
from .hidden import Search, Standing, cell_grid
from .machine import SeenMachine, seen_machine
from .maps import CellMap, Cells, FloorMap, aligned_map
from .place import MOVED_PX, Place, found_anew
from .records import CameraMove

#: Side of the places whose debris is followed through time, mm: the size of a grain.
_PLACE_MM = 5.0
#: Frames with a whole machine that tell its form, and those that tell it well.
_KNOWN, _WHOLES = 3, 25


@dataclass(slots=True, eq=False, kw_only=True)
class Watch:
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
    wholes: list[SeenMachine] = field(default_factory=list)
    slant_mm: float = 0.0
    moves: list[CameraMove] = field(default_factory=list)
    unplaced: int = 0
    next_s: float = 0.0
    floor_view: NDArray[np.uint8] | None = None

    @classmethod
    def of(cls, file: FilmFile, patch: Patch, known: KnownFloor, clear: dict[str, Frame], height_mm: float) -> "Watch":
        """Begin with the camera where it was at first."""
        cells, grid = cell_grid(known, file.frame_px), known.grid
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
            CellMap.of(place.view, cells, file.frame_px).cells(clear[name].bgr)
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
            self.coarse = CellMap.of(self.place.view, self.search.cells, self.file.frame_px)
            self.camera = camera_place(self.place.view)
        cells = self.coarse.cells(frame.bgr)
        standing = self.search.standing(cells)
        machine = self._machine(standing.thing, cells)
        self._note(frame.t_s, machine)
        if due:
            self._count(frame, standing)

    def _machine(self, thing: Mask, cells: Cells) -> SeenMachine | None:
        """The machine among the things of a frame; its form is learned from frames that show it whole."""
        lid = self.lid
        machine = seen_machine(
            thing, cells, self.search.cells, self.camera, self.height_mm, self.radius_mm, lid if self.wholes else None
        )
        if len(self.wholes) < _WHOLES and (machine is None or machine.whole):
            whole = seen_machine(thing, cells, self.search.cells, self.camera, self.height_mm, None)
            if whole is not None:
                self.wholes.append(whole)
                self.slant_mm += (1 if whole.lid else -1) * float(
                    np.hypot(whole.x_mm - self.camera[0], whole.y_mm - self.camera[1])
                )
        return machine

    @property
    def lid(self) -> bool:
        """Whether the machine's top alone tells itself from the floor: places seen at a slant tell it best."""
        return self.slant_mm > 0

    @property
    def radius_mm(self) -> float | None:
        """The machine's radius, None until it was seen whole a few times."""
        radii = [whole.radius_mm for whole in self.wholes if whole.lid == self.lid]
        return float(np.median(radii)) if len(radii) >= _KNOWN else None

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
            self.fine = self._aligned(frame, standing)
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

    def _aligned(self, frame: Frame, standing: Standing) -> FloorMap:
        """The floor view of this place of the camera, laid on the floor by its texture where nothing lies on it."""
        known = self.known
        rows, columns = (n // self.block_px for n in known.grid.shape)
        hidden = standing.hidden.ravel()[self.cell_index].reshape(rows, columns).astype(np.uint8)
        free = cv2.resize(1 - hidden, known.grid.shape[::-1], interpolation=cv2.INTER_NEAREST) > 0
        roughly = FloorMap.of(self.place.view, known.grid, self.file.frame_px).view(frame.bgr)
        bare = (
            cv2.dilate((known.debris(roughly * self._light(standing)) > 0).astype(np.uint8), np.ones((5, 5), np.uint8))
            == 0
        )
        return aligned_map(frame.bgr, self.place.view, known.grid, known.bare, known.usable & free & bare)


def _slid_px(one: FloorToPhoto, other: FloorToPhoto, patch: Patch) -> float:
    """How far the patch's corners lie apart in two views, root mean square, px."""
    corners = patch.corners_mm()
    return float(np.sqrt(((one.project(corners) - other.project(corners)) ** 2).sum(axis=1).mean()))
