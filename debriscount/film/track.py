"""The machine's way over the patch: heading, speed, turns, lanes, passes."""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from ..arrays import Floats
from ..inputs.patch import Patch

#: Seconds before and after a place over which heading and speed are told.
_AROUND_S = 0.45
#: Speed below which a machine has no heading of its own, mm/s: it stands or turns on the spot.
STANDS_MM_S = 25.0
#: Gap without a place from which on the way is not joined any more, s.
GAP_S = 2.0
#: Change of heading from lane to lane that makes a turn, degrees.
TURN_DEG = 45.0
#: How far the heading may stray along a lane, degrees, and how long a lane is at least, mm.
_STRAIGHT_DEG, _LANE_MM = 12.0, 150.0
#: A machine that stays off the patch for so long has ended a pass, s: a turn at the patch's side takes less.
PASSGAP_S = 5.0


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Track:
    """Where the machine was, by sample, arrays of shape (S,); NaN where it was not seen or told.

    ``x_mm`` and ``y_mm`` are its middle; ``heading_deg`` where it drove, from x towards y, 0 to 360; ``speed_mm_s``.
    ``width_mm`` is its diameter as seen, None if it was never seen whole.
    """

    times_s: Floats
    x_mm: Floats
    y_mm: Floats
    heading_deg: Floats
    speed_mm_s: Floats
    width_mm: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Lane:
    """A straight run over the patch as driven: from when to when and from where to where.

    ``cleaned_mm`` is the width of the strip beside its middle in which debris went meanwhile, ``cleaned_off_mm`` how
    far the strip's middle lies to the right of the lane's; None where too little went to tell.
    """

    start_s: float
    end_s: float
    start_mm: tuple[float, float]
    end_mm: tuple[float, float]
    heading_deg: float
    cleaned_mm: float | None = None
    cleaned_off_mm: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Turn:
    """A turn between two lanes: when and where it began, by how much (to the right where positive), and how long."""

    start_s: float
    x_mm: float
    y_mm: float
    turned_deg: float
    seconds: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Outing:
    """A pass: from when to when the machine was on the patch, and for how long in all."""

    start_s: float
    end_s: float
    on_patch_s: float


def track_of(times_s: Floats, x_mm: Floats, y_mm: Floats, width_mm: float | None) -> Track:
    """Tell heading and speed from places.

    Parameters
    ----------
    times_s, x_mm, y_mm : ndarray of shape (S,)
        Times go up; places are NaN where the machine was not seen.

    Notes
    -----
    A straight line by least squares through the places around each.
    """
    heading, speed = np.full(len(times_s), np.nan), np.full(len(times_s), np.nan)
    known = np.isfinite(x_mm)
    first = np.searchsorted(times_s, times_s - _AROUND_S)
    last = np.searchsorted(times_s, times_s + _AROUND_S, side="right")
    for k in np.nonzero(known)[0]:
        near = np.arange(first[k], last[k])
        near = near[known[near]]
        if len(near) < 2:
            continue
        t = times_s[near] - times_s[near].mean()
        spread = float((t * t).sum())
        velocity = np.array([(t * x_mm[near]).sum(), (t * y_mm[near]).sum()]) / spread
        speed[k] = float(np.hypot(*velocity))
        if speed[k] >= STANDS_MM_S:
            heading[k] = np.rad2deg(np.arctan2(velocity[1], velocity[0])) % 360
    return Track(times_s=times_s, x_mm=x_mm, y_mm=y_mm, heading_deg=heading, speed_mm_s=speed, width_mm=width_mm)


def outings(track: Track, patch: Patch) -> tuple[Outing, ...]:
    """The passes: stretches of time with the machine on the patch, parted where it stays away."""
    radius = (track.width_mm or 0.0) / 2
    x, y = track.x_mm, track.y_mm
    off_x = np.maximum(np.maximum(-x, x - patch.width_mm), 0)
    off_y = np.maximum(np.maximum(-y, y - patch.height_mm), 0)
    on = np.hypot(off_x, off_y) < radius  # False where it was not seen
    there = np.nonzero(on)[0]
    if not len(there):
        return ()
    steps = np.diff(track.times_s, append=track.times_s[-1])
    found = []
    for part in np.split(there, np.nonzero(np.diff(track.times_s[there]) > PASSGAP_S)[0] + 1):
        # Unseen for a moment on the patch it is still there.
        within = np.arange(part[0], part[-1] + 1)
        present = on[within] | ~np.isfinite(x[within])
        found.append(
            Outing(
                start_s=float(track.times_s[part[0]]),
                end_s=float(track.times_s[part[-1]]),
                on_patch_s=float(steps[within][present].sum()),
            )
        )
    return tuple(found)


def lanes(track: Track, patch: Patch) -> tuple[Lane, ...]:
    """The straight runs of a track that cross some of the patch, in order."""
    found = []
    known = np.nonzero(np.isfinite(track.heading_deg))[0]
    run: list[int] = []
    for k in [*known.tolist(), -1]:
        if run and (
            k < 0
            or track.times_s[k] - track.times_s[run[-1]] > GAP_S
            or abs(_turned(_mean_heading(track, run), float(track.heading_deg[k]))) > _STRAIGHT_DEG
        ):
            lane = _lane(track, run, patch)
            if lane is not None:
                found.append(lane)
            run = []
        run.append(k)
    return tuple(found)


def _mean_heading(track: Track, run: list[int]) -> float:
    angle = np.deg2rad(track.heading_deg[run])
    return float(np.rad2deg(np.arctan2(np.sin(angle).mean(), np.cos(angle).mean())) % 360)


def _turned(from_deg: float, to_deg: float) -> float:
    """Change of heading, -180 to 180."""
    return (to_deg - from_deg + 180) % 360 - 180


def _lane(track: Track, run: list[int], patch: Patch) -> Lane | None:
    """A run as a lane; None where it is short or does not cross the patch."""
    start, end = (np.array([track.x_mm[k], track.y_mm[k]]) for k in (run[0], run[-1]))
    inside = patch.inside(track.x_mm[run], track.y_mm[run])
    if np.hypot(*(end - start)) < _LANE_MM or inside.sum() < 2:
        return None
    heading = float(np.rad2deg(np.arctan2(*(end - start)[::-1])) % 360)
    return Lane(
        start_s=float(track.times_s[run[0]]),
        end_s=float(track.times_s[run[-1]]),
        start_mm=(float(start[0]), float(start[1])),
        end_mm=(float(end[0]), float(end[1])),
        heading_deg=heading,
    )


def turns(driven: tuple[Lane, ...]) -> tuple[Turn, ...]:
    """The turns between lanes that follow one another."""
    found = []
    for before, after in pairwise(driven):
        by = _turned(before.heading_deg, after.heading_deg)
        if abs(by) >= TURN_DEG and after.start_s - before.end_s <= PASSGAP_S:
            found.append(
                Turn(
                    start_s=before.end_s,
                    x_mm=before.end_mm[0],
                    y_mm=before.end_mm[1],
                    turned_deg=by,
                    seconds=after.start_s - before.end_s,
                )
            )
    return tuple(found)
