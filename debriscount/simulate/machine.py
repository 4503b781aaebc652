"""A machine at work: how it drives over the patch, and when it takes which grain."""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from ..arrays import Floats, Mask
from ..errors import SceneError
from ..inputs.patch import MARGIN, Patch, zone_in_patch
from .grains import Grains
from .spec import Rgb

#: Seconds that the machine waits in the open before it sets off, and that the film goes on once it is back.
REST_S = 2.0
#: How far beyond a free side of the patch the machine turns, as a share of its diameter.
_BEYOND = 0.6
#: How fast it turns on the spot, degrees a second.
_TURN_DEG_S = 180.0
#: Step by which the mouth is moved over the grains, s: under a grain's width at usual speeds.
_STEP_S = 0.01


@dataclass(frozen=True, slots=True, kw_only=True)
class Machine:
    """A round machine.

    ``mouth_mm`` is how wide it takes up debris, along a line through its middle and across its heading. Of what the
    mouth passes over, ``pickup`` is the chance of being taken; ``displaced_share`` of what it leaves is thrown back by
    about ``displaced_mm``, once a grain. It drives lanes ``pitch_mm`` apart, ``speed_mm_s`` fast.
    """

    diameter_mm: float = 320.0
    height_mm: float = 90.0
    mouth_mm: float = 220.0
    pitch_mm: float = 180.0
    speed_mm_s: float = 200.0
    color_srgb: Rgb = (46, 48, 54)
    pickup: float = 0.92
    displaced_share: float = 0.3
    displaced_mm: float = 20.0


@dataclass(frozen=True, slots=True, eq=False)
class Drive:
    """The way of a machine's middle: times of shape (K,), places (K, 2) and headings (K,), straight in between.

    Headings are degrees from x towards y and go on beyond a full turn.
    """

    times_s: Floats
    places_mm: Floats
    headings_deg: Floats

    @property
    def end_s(self) -> float:
        """When it stands still for good."""
        return float(self.times_s[-1])

    def place_mm(self, t_s: Floats | float) -> Floats:
        """Where the middle is, shape (..., 2)."""
        return np.stack([np.interp(t_s, self.times_s, self.places_mm[:, axis]) for axis in (0, 1)], axis=-1)

    def heading_deg(self, t_s: Floats | float) -> Floats:
        """Where it looks."""
        return np.asarray(np.interp(t_s, self.times_s, self.headings_deg))


def drive(patch: Patch, machine: Machine, passes: int) -> Drive:
    """Drive over a patch in lanes, out into the open between passes.

    Parameters
    ----------
    patch : Patch
        With a free side at least at one end of the lanes, which run along x where they can.
    machine : Machine
        Its size, speed and lanes; every second pass drives between the lanes of the first.
    passes : int
        How often it drives over the whole patch, one or more.

    Raises
    ------
    SceneError
        Walls at both ends of the lanes in either direction, or a machine too large for the patch between its walls.
    """
    along, across = ("left", "right"), ("top", "bottom")
    turned = set(along) <= set(patch.walls)
    if turned:
        along, across = across, along
    if set(along) <= set(patch.walls):
        raise SceneError("a film needs a patch with a free side for the machine to come from. Name two walls at most.")
    size = np.array([patch.width_mm, patch.height_mm])
    long, wide = size[::-1] if turned else size
    radius, beyond = machine.diameter_mm / 2, (0.5 + _BEYOND) * machine.diameter_mm
    ends = [radius if along[0] in patch.walls else -beyond, long - (radius if along[1] in patch.walls else -beyond)]
    if along[0] in patch.walls:
        ends.reverse()
    low = radius if across[0] in patch.walls else machine.pitch_mm / 2
    high = wide - (radius if across[1] in patch.walls else machine.pitch_mm / 2)
    if high < low:
        raise SceneError(
            f"a machine of {machine.diameter_mm:g} mm finds no room between the walls of a patch {wide:g} mm wide."
        )
    points: list[tuple[float, float]] = []
    for number in range(passes):
        lanes = np.arange(low, high + machine.pitch_mm - 1e-6, machine.pitch_mm)
        lanes = np.minimum(lanes + (number % 2) * machine.pitch_mm / 2, high)
        for count, lane in enumerate(np.unique(lanes)):
            points += [(ends[count % 2], float(lane)), (ends[1 - count % 2], float(lane))]
        # Back to the free side behind the patch's end, out of the way of what is still to be seen.
        outside = ends[0] + np.sign(ends[0] - ends[1]) * machine.diameter_mm
        points += [(outside, points[-1][1]), (outside, float(low))]
    points.insert(0, points[-1])
    places = np.array(points)[:, ::-1] if turned else np.array(points)
    return _timed(places, machine)


def _timed(places: Floats, machine: Machine) -> Drive:
    """Drive along straight lines from place to place, turning on the spot between them."""
    times, where, headings = [0.0], [places[0]], []
    heading = None
    for start, end in pairwise(places):
        step = end - start
        if not step.any():
            continue
        aim = float(np.rad2deg(np.arctan2(step[1], step[0])))
        if heading is None:
            heading = aim
            headings.append(heading)
            times.append(REST_S)
            where.append(start)
            headings.append(heading)
        turn = (aim - heading + 180) % 360 - 180
        if turn:
            heading += turn
            times.append(times[-1] + abs(turn) / _TURN_DEG_S)
            where.append(start)
            headings.append(heading)
        times.append(times[-1] + float(np.hypot(*step)) / machine.speed_mm_s)
        where.append(end)
        headings.append(heading)
    return Drive(np.array(times), np.array(where), np.array(headings))


@dataclass(frozen=True, slots=True, eq=False)
class Taken:
    """What became of every grain: when it was thrown aside and where to, and when it was taken; inf for never.

    ``moved_s`` and ``gone_s`` have shape (N,), ``moved_mm`` of shape (N, 2) is where a grain lies from ``moved_s`` on.
    """

    first_mm: Floats
    moved_s: Floats
    moved_mm: Floats
    gone_s: Floats

    def lying(self, t_s: float) -> tuple[Mask, Mask]:
        """Which grains lie in their first place, and which where they were thrown to, shape (N,) each."""
        there = t_s < self.gone_s
        return there & (t_s < self.moved_s), there & (t_s >= self.moved_s)

    def left_percent(self, patch: Patch, grains: Grains, t_s: float, kind: int | None = None) -> float:
        """Debris left in the patch, and what the margin has gained, as a share of what lay in the patch, percent.

        Of one kind by its number, or of all.
        """
        own = np.ones(len(grains), bool) if kind is None else grains.kind == kind
        first, moved = (there & own for there in self.lying(t_s))
        start = self._area(patch, grains, own, np.zeros(len(grains), bool))
        now = self._area(patch, grains, first, moved)
        return 100 * (now[0] + max(0.0, now[1] - start[1])) / start[0]

    def _area(self, patch: Patch, grains: Grains, first: Mask, moved: Mask) -> tuple[float, float]:
        """Area in the patch and in its margin, mm²."""
        there = first | moved
        codes = patch.zone_codes(*np.where(moved[:, None], self.moved_mm, self.first_mm).T)
        inside, margin = (there & member for member in (zone_in_patch(codes), codes == MARGIN))
        return float(grains.area_mm2[inside].sum()), float(grains.area_mm2[margin].sum())


def take(patch: Patch, machine: Machine, way: Drive, places_mm: Floats, rng: np.random.Generator) -> Taken:
    """Drive over the grains.

    Parameters
    ----------
    patch : Patch
        Grains stay in it and its margin.
    machine : Machine
        Its mouth and its chances.
    way : Drive
        How it drives.
    places_mm : ndarray of shape (N, 2)
        Where the grains lie at first.
    rng : Generator
        Source of chance.

    Returns
    -------
    Taken
    """
    count = len(places_mm)
    now, moved_to = places_mm.copy(), places_mm.copy()
    moved, gone = np.full(count, np.inf), np.full(count, np.inf)
    left, top, right, bottom = patch.outer_box_mm()
    ahead = np.full(count, np.nan)
    for t in np.arange(0.0, way.end_s, _STEP_S):
        heading = np.deg2rad(way.heading_deg(t))
        toward = np.array([np.cos(heading), np.sin(heading)])
        off = now - way.place_mm(t)
        along = off @ toward
        across = off @ np.array([-toward[1], toward[0]])
        met = (along * ahead <= 0) & (np.abs(along) < machine.mouth_mm / 2) & (np.abs(across) <= machine.mouth_mm / 2)
        ahead = along
        met = np.nonzero(met & np.isinf(gone))[0]
        if not len(met):
            continue
        taken = rng.random(len(met)) < machine.pickup
        gone[met[taken]] = t
        thrown = met[~taken & np.isinf(moved[met])]
        thrown = thrown[rng.random(len(thrown)) < machine.displaced_share]
        step = rng.exponential(max(machine.displaced_mm, 1e-9), len(thrown))
        aside = 0.3 * step * rng.standard_normal(len(thrown))
        to = now[thrown] - step[:, None] * toward + aside[:, None] * np.array([-toward[1], toward[0]])
        now[thrown] = moved_to[thrown] = np.clip(to, (left + 3, top + 3), (right - 3, bottom - 3))
        moved[thrown] = t
        ahead[thrown] = -1.0
    return Taken(places_mm, moved, moved_to, gone)
