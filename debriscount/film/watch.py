"""What a film's looks say together: camera moves, the machine's form and way, and what became of the debris."""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from ..arrays import Floats
from ..camera.view import FloorToPhoto, camera_place
from ..inputs.patch import ZONES, zone_in_patch
from .curve import State
from .doubt import Doubts
from .look import Look, Looking
from .machine import Outline, SeenMachine, placed_machine
from .records import CameraMove
from .way import Way

#: Frames with a whole machine that tell its form, and those that tell it well.
_KNOWN, _WHOLES = 3, 25
#: Share of its outline by which a machine that is never seen whole tells its form: half of it and some more.
_MUCH = 0.6
#: How far ahead of the machine's middle or behind it debris may be taken up, as a share of its radius: brushes and
#: mouths lie there as a rule (common practice, no source).
_AHEAD = 0.5
#: Samples that wait at most until the machine's form is known; each takes a fifth of a megabyte.
_WAITING = 120


@dataclass(slots=True, eq=False, kw_only=True)
class Watch:
    """A film at work: what is known so far.

    Looks wait from when a thing comes into view until its form is known: only then is it known what it passed over.
    """

    looking: Looking
    height_mm: float
    state: State
    doubts: Doubts
    view: FloorToPhoto
    camera: Floats
    times: list[float] = field(default_factory=list)
    machines: list[SeenMachine | None] = field(default_factory=list)
    way: Way = field(default_factory=Way)
    wholes: list[SeenMachine] = field(default_factory=list)
    slant_mm: float = 0.0
    waiting: list[tuple[Look, Floats]] = field(default_factory=list)
    moves: list[CameraMove] = field(default_factory=list)
    unplaced: int = 0

    @classmethod
    def of(cls, looking: Looking, height_mm: float) -> "Watch":
        """Begin with nothing seen."""
        codes = looking.patch.zone_codes(*looking.places_mm.T)
        inside = zone_in_patch(codes)
        zones = np.stack([inside, *(codes == ZONES.index(name) for name in looking.patch.zone_names())])
        view = looking.known.start.view
        side = looking.block_px * looking.known.grid.mm_per_px
        return cls(
            looking=looking,
            height_mm=height_mm,
            state=State(zones, inside, looking.known.rows),
            doubts=Doubts(looking.shape, side),
            view=view,
            camera=camera_place(view),
        )

    def take(self, looks: list[Look]) -> None:
        """Take the looks of the next stretch."""
        for look in looks:
            self._move(look)
            self.waiting.append((look, self.camera))
            if look.outline is not None and look.outline.whole:
                self._learn_form(look.outline, self.camera)
            if self.radius_mm is not None or not any(one.outline for one, _ in self.waiting):
                self._settle()
            elif sum(one.counted for one, _ in self.waiting) > _WAITING:
                self.end()

    def end(self) -> None:
        """Take all that waits: by parts of the machine, if it was never seen whole."""
        if self.radius_mm is None:
            for look, camera in self.waiting:
                if look.outline is not None and look.outline.share >= _MUCH:
                    self._learn_form(look.outline, camera)
        self._settle()

    def _settle(self) -> None:
        for look, camera in self.waiting:
            machine = None
            if look.outline is not None and self.radius_mm is not None:
                machine = placed_machine(look.outline, camera, self.height_mm, self.radius_mm, self.lid)
            self._note(look.t_s, machine)
            if look.areas_mm2 is not None and look.seen is not None:
                self.state.see(look.t_s, look.areas_mm2.astype(float), look.seen, self._passed_s, self._slack_s())
                self.doubts.note(self.state)
        self.waiting.clear()

    def _move(self, look: Look) -> None:
        """Note where the camera is, and whether it was moved."""
        if look.view is None:
            self.unplaced += 1
            return
        if np.array_equal(look.view.homography, self.view.homography):
            return
        patch = self.looking.patch
        middle = np.array([[patch.width_mm / 2, patch.height_mm / 2]])
        by = float(np.hypot(*(look.view.floor_mm(self.view.project(middle)) - middle)[0]))
        self.moves.append(CameraMove(t_s=look.t_s, by_mm=by))
        self.view, self.camera = look.view, camera_place(look.view)

    def _learn_form(self, outline: Outline, camera: Floats) -> None:
        """Learn the machine's form from an outline that shows all or much of it."""
        if len(self.wholes) >= _WHOLES:
            return
        machine = placed_machine(outline, camera, self.height_mm)
        if machine is not None:
            self.wholes.append(machine)
            self.slant_mm += (1 if machine.lid else -1) * float(
                np.hypot(machine.x_mm - camera[0], machine.y_mm - camera[1])
            )

    @property
    def lid(self) -> bool:
        """Whether the machine's top alone tells itself from the floor: places seen at a slant tell it best."""
        return self.slant_mm > 0

    @property
    def radius_mm(self) -> float | None:
        """The machine's radius, None until it was seen whole a few times."""
        radii = [whole.radius_mm for whole in self.wholes if whole.lid == self.lid]
        return float(np.median(radii)) if len(radii) >= _KNOWN else None

    def _note(self, t_s: float, machine: SeenMachine | None) -> None:
        """Add a place to the way."""
        if machine is not None:
            self.way.add(t_s, machine.x_mm, machine.y_mm)
        self.times.append(t_s)
        self.machines.append(machine)

    def _passed_s(self, places: NDArray[np.intp], since_s: float, until_s: float) -> Floats:
        """When the machine passed over some of the places."""
        return self.way.passed_s(self.looking.places_mm[places], since_s, until_s, self.radius_mm or 0.0)

    def _slack_s(self) -> float:
        """How much earlier or later than its middle passes a machine may take debris up."""
        speed = self.way.speed_mm_s()
        return _AHEAD * self.radius_mm / speed if self.radius_mm is not None and speed is not None else 0.0
