"""What is said of the debris that stayed: frozen records whose fields carry their units.

A figure that cannot be known is None.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from ..arrays import Floats, Mask
from ..grains.table import GrainTable
from ..inputs.patch import zone_in_patch
from ..registration.grid import FloorGrid
from ..stats.proportion import Interval


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Fates:
    """The grains of an earlier and a later shot, and how far each lies in both.

    ``stayed`` has one entry a grain of ``earlier``: the share of it that still lies in its place, which `trace` rounds
    to 0 or 1. ``untouched`` has one entry a grain of ``later``: the chance that it lay there before; it is 0 for what
    was moved and nearly 1 for what was not, less what chance overlap gives, so that sums over many grains are right.
    ``matched`` has one entry a kind: whether its grains are large enough to be compared one by one by their middles as
    well. ``least_shift_mm``, by kind too, is the shortest shift that is told from lying still; ``u_untouched_percent``,
    by kind, the standard uncertainty of the untouched share of all of that kind's leftovers, percentage points, and
    ``chance_percent`` how much of what was only moved would pass for untouched by chance.
    """

    earlier: GrainTable
    later: GrainTable
    stayed: Floats
    untouched: Floats
    matched: tuple[bool, ...]
    least_shift_mm: tuple[float, ...]
    u_untouched_percent: tuple[float, ...]
    chance_percent: tuple[float, ...]

    def only(self, earlier: Mask, later: Mask) -> "Fates":
        """Some of the grains alone; masks of shape (len(self.earlier),) and (len(self.later),)."""
        return replace(
            self,
            earlier=self.earlier.take(earlier),
            later=self.later.take(later),
            stayed=self.stayed[earlier],
            untouched=self.untouched[later],
        )


def in_patch(grains: GrainTable) -> Mask:
    """Which grains lie in the patch, shape (N,)."""
    return zone_in_patch(grains.zone)


Places = tuple[tuple[float, float], ...]


@dataclass(frozen=True, slots=True)
class LeftShares:
    """Debris left in a zone and how much of it the machine never moved; shares of its area, percent, sum to 100."""

    area_mm2: float
    untouched_percent: float | None
    shifted_percent: float | None
    untouched_interval95: Interval | None


@dataclass(frozen=True, slots=True)
class WhySplit:
    """Debris left in a zone, parted by what the pass did to it; shares of its area, percent, that sum to 100.

    It lay where the machine never went, or the machine went over it and left it lying, or moved it and left it. The
    95 % intervals are None where the reach or the leftovers have none.
    """

    never_reached_percent: float
    left_lying_percent: float
    moved_percent: float
    never_reached_interval95: Interval | None = None
    left_lying_interval95: Interval | None = None
    moved_interval95: Interval | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Leftovers:
    """Leftovers of a pass against *before*: of the patch, of its zones and of every kind by zone.

    ``least_shift_mm`` by kind: a grain moved by less counts as untouched. ``chance_percent`` by kind: how much of what
    was moved lies on earlier debris by chance; it has been taken off. ``matched`` by kind: whether grains were told one
    by one, or by the sums of their pixels alone.
    """

    zones: dict[str, LeftShares]
    kinds: dict[str, dict[str, LeftShares]]
    least_shift_mm: dict[str, float]
    chance_percent: dict[str, float]
    matched: dict[str, bool]


@dataclass(frozen=True, slots=True)
class ReachedShare:
    """How much of a zone the machine acted on, by the debris that lay there, percent, and its 95 % interval.

    ``pickup_percent`` is the pickup of what lay where it acted: pickup of all = share reached times that.
    """

    share_percent: float | None
    interval95: Interval | None
    pickup_percent: float | None
    pickup_interval95: Interval | None


@dataclass(frozen=True, slots=True, kw_only=True)
class MissedPlace:
    """A place that the machine never met: its outline, area, the debris left in it and that's share of all leftovers.

    ``what`` is "strip" (between two lanes), "wide" (a strip much wider than the others: a turn too wide) or "place".
    ``at_turns`` says of a place that it lies where the lanes end; None where no lanes are told.
    """

    what: str
    polygon_mm: Places
    area_mm2: float
    left_mm2: float
    share_percent: float
    at_turns: bool | None = None


def middle_mm(place: MissedPlace) -> tuple[float, float]:
    """Middle of the box around a missed place."""
    corners = np.array(place.polygon_mm)
    x, y = ((corners.min(axis=0) + corners.max(axis=0)) / 2).tolist()
    return x, y


@dataclass(frozen=True, slots=True, eq=False)
class Reach:
    """Where the machine acted, from what stayed of the debris that lay there.

    ``map`` of shape ``grid.shape`` is the chance, 0 to 1, that a place was reached; NaN outside the patch and where too
    little debris lay to tell. ``told_share`` is the share of the patch where it could be told; of that, ``floor`` has
    the share of floor that was reached, whatever debris lay on it; unknown where debris did not lie evenly.
    ``spacing_mm`` is how far debris lies from its neighbours: what was missed and is narrower is not told from debris
    that was reached and left. ``trust`` and ``why`` are those of the pickup that was found from the same grains.
    """

    zones: dict[str, ReachedShare]
    grid: FloorGrid
    map: NDArray[np.float32]
    told_share: float
    floor: ReachedShare = ReachedShare(None, None, None, None)
    spacing_mm: float | None = None
    trust: str = "sound"
    why: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Strip:
    """A strip of floor between two lanes that the machine left: its middle line's ends and its width.

    ``straight_mm`` is how far its middle strays from that line, root mean square, less what chance adds: 0 where that
    explains all of it. ``share_percent`` is its share of all leftovers.
    """

    ends_mm: tuple[tuple[float, float], tuple[float, float]]
    width_mm: float
    width_u_mm: float
    straight_mm: float | None
    share_percent: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Lanes:
    """The pattern of parallel lanes that left strips between them.

    ``heading_deg``: 0 along x, 90 along y, modulo 180. ``pitch_mm`` from lane to lane; ``strip_mm`` the usual width
    left between them; ``lanes`` how many lanes crossed the patch, None without a pitch. Each ``_u`` is a standard
    uncertainty. ``share_percent`` is the strips' share of all leftovers; ``straight_mm`` the root mean square over the
    strips.
    """

    heading_deg: float
    heading_u_deg: float
    pitch_mm: float | None
    pitch_u_mm: float | None
    strip_mm: float
    strip_u_mm: float
    lanes: int | None
    straight_mm: float | None
    strips: tuple[Strip, ...]
    share_percent: float


@dataclass(frozen=True, slots=True, kw_only=True)
class WallProfile:
    """Leftovers against the distance from a wall.

    ``edges_mm`` of N + 1 distances bound N bins; ``before_mm2``, ``untouched_mm2`` and ``shifted_mm2`` hold N areas.
    ``gap_mm`` is the distance up to which debris stays as a rule, None where no such step is seen; ``left_percent`` is
    what stays within it, ``beyond_percent`` what stays on open floor.
    """

    wall: str
    edges_mm: tuple[float, ...]
    before_mm2: tuple[float, ...]
    untouched_mm2: tuple[float, ...]
    shifted_mm2: tuple[float, ...]
    gap_mm: float | None
    gap_interval95: Interval | None
    left_percent: float | None
    beyond_percent: float | None
    share_percent: float


@dataclass(frozen=True, slots=True)
class LocalPickup:
    """Pickup of what lay somewhere, percent, below 0 where more lies than before, and its 95 % interval by repetition.

    None where nothing lay. The interval says how well such a place is known from so many grains and from how much it
    differs along the wall, not how well the photos show it.
    """

    percent: float | None
    interval95: Interval | None


@dataclass(frozen=True, slots=True, kw_only=True)
class WallPickup:
    """Pickup against the distance from a wall, without the strips that lanes left between them.

    ``edges_mm`` of N + 1 distances bound the N ``bins``; ``near`` is what lay within ``near_mm`` of the foot, the depth
    of the edge zone, and ``open`` what lay on open floor. ``less_percent`` is by how many points less was picked up
    near than on open floor, None where either is unknown. ``strips_mm`` holds the spans of distances that are left
    out because a strip lies there all along the wall.
    """

    wall: str
    edges_mm: tuple[float, ...]
    bins: tuple[LocalPickup, ...]
    near_mm: float
    near: LocalPickup
    open: LocalPickup
    less_percent: float | None
    less_interval95: Interval | None
    strips_mm: tuple[Interval, ...]


@dataclass(frozen=True, slots=True)
class CornerReach:
    """How far from a corner's foot debris stays, mm; None where no step is seen. ``walls`` are the two that meet."""

    walls: tuple[str, str]
    radius_mm: float | None
    radius_interval95: Interval | None
    share_percent: float


@dataclass(frozen=True, slots=True)
class Walls:
    """What stays along walls and in corners, and how much is picked up at which distance from each wall."""

    walls: tuple[WallProfile, ...]
    corners: tuple[CornerReach, ...]
    pickup: tuple[WallPickup, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Scatter:
    """Debris that was moved: into the margin, and onto places of the patch that were bare.

    Shares are of all that lay in the patch in the earlier shot, by area, percent. ``margin_sides`` is the share of what
    the margin gained on each side. ``direction_deg`` (0 along x, 90 along y, modulo 360) is where moved grains lie from
    the places that lost some, None where no direction stands out; ``strength`` is 0 (all ways alike) to 1.
    ``distance_mm`` bins' upper ends and ``distance_percent``: how far moved debris lies from the nearest place that
    lost some, which is as far as it went at least. ``side`` is the patch's side to which more than chance went, None
    where none stands out.
    """

    margin_percent: float | None
    margin_interval95: Interval | None
    margin_sides: dict[str, float]
    bare_percent: float | None
    direction_deg: float | None
    strength: float | None
    distance_mm: tuple[float, ...]
    distance_percent: tuple[float, ...]
    median_distance_mm: float | None
    side: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Brought:
    """What a further pass took from one part of the patch.

    ``what`` is a zone, or "missed": a place that the pass before had missed, ``around_mm`` its middle. ``found_mm2`` of
    debris lay there when the pass began, of which it took ``taken_percent`` from its place; that is ``share_percent``
    of all that it took in the patch.
    """

    what: str
    around_mm: tuple[float, float] | None
    found_mm2: float
    taken_percent: float
    share_percent: float


@dataclass(frozen=True, slots=True)
class PassStep:
    """What one pass brought: of what it found, and with the passes before it, percent.

    ``missed_again_percent`` is the share of the debris that this pass found and never met which lies where the pass
    before had not been either, and ``missed_again_by_chance_percent`` what that would be if each pass missed places by
    itself; None in the first pass. ``from_missed_percent`` is the share of what this pass took from its place that lay
    where the pass before had not been, and ``brought`` tells from where, by place that had been missed and by zone.
    """

    number: int
    of_found_percent: float | None
    of_found_interval95: Interval | None
    together_percent: float | None
    missed_again_percent: float | None
    missed_again_by_chance_percent: float | None
    from_missed_percent: float | None = None
    brought: tuple[Brought, ...] = ()


@dataclass(frozen=True, slots=True)
class FurtherPass:
    """What one more pass may bring, extrapolated: pickup together after it, percent, and its 95 % interval."""

    together_percent: float
    interval95: Interval
    sentence: str


@dataclass(frozen=True, slots=True)
class Explanation:
    """A sentence in plain words about why debris stayed, and the share of all leftovers that it explains, percent."""

    what: str
    share_percent: float | None
    sentence: str


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class WhyLeft:
    """All that is said of the leftovers of one pass.

    ``leftovers`` compares with *before*; ``split``, ``reach``, ``lanes``, ``missed``, ``walls`` and ``scatter`` with
    the shot that the pass began with. ``split`` holds "patch" and those zones of which it can be told. ``untouched``
    has one entry a grain of the pass's shot, the share of it that lies where it lay *before*: what pictures and tables
    show. ``way_mm`` of shape (N, 2) is, for those that the pass moved, the way to them from the nearest place that lost
    one of their kind, x and y; both are NaN where nothing is known.
    """

    leftovers: Leftovers
    split: Mapping[str, WhySplit]
    reach: Reach | None
    lanes: Lanes | None
    missed: tuple[MissedPlace, ...]
    walls: Walls
    scatter: Scatter
    findings: tuple[Explanation, ...]
    untouched: Floats
    way_mm: Floats


@dataclass(frozen=True, slots=True, eq=False)
class Explained:
    """Every pass explained, in order, what each brought, and what one more may bring.

    A pass is None of whose leftovers nothing can be told.
    """

    passes: tuple[WhyLeft | None, ...] = ()
    steps: tuple[PassStep, ...] = ()
    further: FurtherPass | None = None

    def why(self, number: int) -> WhyLeft | None:
        """Return why debris stayed in a pass; passes are numbered from 1."""
        return self.passes[number - 1] if number <= len(self.passes) else None

    def step(self, number: int) -> PassStep | None:
        """Return what a pass brought."""
        return self.steps[number - 1] if number <= len(self.steps) else None
