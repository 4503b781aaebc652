"""Along a strip: where it ends, whether all of it was left, where its borders run, how straight they are."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ...arrays import Floats
from ...inputs.patch import Patch
from .evidence import LaneEvidence
from .strips import LEAST_U_MM, ROOM_MM, STRAY_MM, Found, StripEnd, border

Ends = tuple[tuple[float, float], tuple[float, float]]
#: Places along, places across and their standard deviations, of one border piece by piece.
Line = tuple[Floats, Floats, Floats]

#: A strip is followed in at most so many pieces: lanes stray in waves of some hundred mm, and a patch is no longer than
#: a few of them.
_MOST_PIECES = 8


@dataclass(frozen=True, slots=True, eq=False)
class Course:
    """A strip's two borders piece by piece along it, mm; one entry a piece in every array.

    ``low`` and ``high`` lie across, ``low_u`` and ``high_u`` are their standard deviations.
    """

    along: Floats
    low: Floats
    high: Floats
    low_u: Floats
    high_u: Floats

    @property
    def middle(self) -> Floats:
        """Where the strip's middle lies across."""
        return (self.low + self.high) / 2

    @property
    def middle_u(self) -> Floats:
        """Standard deviations of the middles; the widths' are twice as large."""
        return np.asarray(np.hypot(self.low_u, self.high_u) / 2)


@dataclass(frozen=True, slots=True, eq=False)
class Straightened:
    """Strips fitted with straight parallel borders, their pieces' own wobble allowed for.

    ``turn_deg`` is by how much their heading has to be turned and ``turn_u_deg`` its standard uncertainty; ``found``
    are the strips at the new heading.
    """

    turn_deg: float
    turn_u_deg: float
    found: list[Found]


def chord(patch: Patch, heading_deg: float, across_mm: float) -> Ends | None:
    """Where a line at a heading crosses the patch, patch coordinates; None where it does not.

    ``across_mm`` is counted from the middle of the patch, as `LaneEvidence` does.
    """
    heading = np.deg2rad(heading_deg)
    along = np.array([np.cos(heading), np.sin(heading)])
    middle = np.array([patch.width_mm, patch.height_mm]) / 2
    foot = middle + across_mm * np.array([-along[1], along[0]])
    start, stop = -np.inf, np.inf
    for axis, size in enumerate((patch.width_mm, patch.height_mm)):
        # Parallel to these two sides.
        if abs(along[axis]) < 1e-12:
            if not 0 <= foot[axis] <= size:
                return None
            continue
        cuts = sorted((-foot[axis] / along[axis], (size - foot[axis]) / along[axis]))
        start, stop = max(start, cuts[0]), min(stop, cuts[1])
    if start >= stop:
        return None
    first, last = foot + start * along, foot + stop * along
    return (float(first[0]), float(first[1])), (float(last[0]), float(last[1]))


def length_mm(ends: Ends) -> float:
    """Length of a line by its ends."""
    return float(np.hypot(ends[1][0] - ends[0][0], ends[1][1] - ends[0][1]))


def left_throughout(evidence: LaneEvidence, heading_deg: float, strip: Found, ends: Ends) -> bool:
    """Whether a strip was left along all its length, as far as its grains tell.

    Notes
    -----
    Sought is the piece that says most clearly that the machine was there. It counts if it says more than the best of
    all pieces does by chance, is longer than a seventh of the strip, and if beside the straight strip, where wobbling
    lanes may have shifted it, nothing was left either: another path that crosses is as long as the machine is wide.
    """
    across, along = evidence.across_along(heading_deg)
    low, high = strip.span
    inside = (across > low) & (across < high)
    order = np.argsort(along[inside])
    place, against = along[inside][order], -evidence.ratio[inside][order]
    if len(place) < 2:
        return False
    says, start, stop = _largest_part(against)
    if says < 2 * np.log(len(place)) + 3 or place[stop] - place[start] < 0.15 * length_mm(ends):
        return True
    beside = (across > low - STRAY_MM) & (across < high + STRAY_MM) & (along >= place[start]) & (along <= place[stop])
    shifted, _, _ = _largest_part(evidence.ratio[beside][np.argsort(across[beside])])
    return bool(shifted > 2 * np.log(beside.sum()) + 3)


def _largest_part(values: Floats) -> tuple[float, int, int]:
    """Largest sum of consecutive values, and the first and the last of them."""
    summed = np.concatenate([[0.0], np.cumsum(values)])
    gains = summed[1:] - np.minimum.accumulate(summed[:-1])
    stop = int(np.argmax(gains))
    return float(gains[stop]), int(np.argmin(summed[: stop + 1])), stop


def course(evidence: LaneEvidence, heading_deg: float, strip: Found) -> Course | None:
    """Follow a strip along its length, in pieces of equal length.

    Parameters
    ----------
    evidence : LaneEvidence
        The patch's grains.
    heading_deg : float
        The strip's heading.
    strip : Found
        The strip.

    Returns
    -------
    Course or None
        None where the grains say too little for two pieces.
    """
    across, along = evidence.across_along(heading_deg)
    low, high = strip.span
    within = (across > low) & (across < high)
    # A piece has to be told as a strip by itself: ten is a chance of one in 20,000.
    pieces = min(_MOST_PIECES, int(evidence.ratio[within].sum() / 10))
    if pieces < 2:
        return None
    room = max(ROOM_MM, (high - low) / 2)
    near = (across > low - room) & (across < high + room)
    across, along, ratio = across[near], along[near], evidence.ratio[near]
    # A hair more, so that the last grain is in the last piece.
    cuts = np.linspace(along.min(), along.max() + 1e-6, pieces + 1)
    part = np.searchsorted(cuts, along, side="right") - 1
    rows = []
    for number in range(pieces):
        own = part == number
        down = border(across[own], ratio[own], (low + high) / 2, low - room)
        up = border(across[own], ratio[own], (low + high) / 2, high + room)
        rows.append(((cuts[number] + cuts[number + 1]) / 2, down.at_mm, up.at_mm, down.u_mm, up.u_mm))
    return Course(*np.array(rows).T)


def straighten(found: Sequence[Found], courses: Sequence[Course | None]) -> Straightened | None:
    """Fit parallel lines to the pieces of all strips' borders; None where too few pieces are told.

    Notes
    -----
    Pieces stray by their standard deviation and by what lanes wobble, which is one number for all, from the pieces' own
    scatter (DerSimonian and Laird, Controlled Clinical Trials 7 (1986) 177-188, here about sloping lines). Without it
    the places where most grains lie would decide the slope.
    """
    lines: list[Line] = [
        (path.along, at, np.maximum(u, LEAST_U_MM))
        for strip, path in zip(found, courses, strict=True)
        if path is not None
        for at, u, end in ((path.low, path.low_u, strip.low), (path.high, path.high_u, strip.high))
        if end.closed
    ]
    if sum(len(along) - 1 for along, _, _ in lines) < 3:
        return None
    slope = slope_u = spread = 0.0
    for _ in range(3):
        slope, slope_u, spread = _common_slope(lines, spread)
    fitted = [
        strip
        if path is None
        else Found(
            _line_at((path.along, path.low, path.low_u), slope, spread, strip.low),
            _line_at((path.along, path.high, path.high_u), slope, spread, strip.high),
        )
        for strip, path in zip(found, courses, strict=True)
    ]
    return Straightened(float(np.rad2deg(np.arctan(slope))), float(np.rad2deg(slope_u)), fitted)


def _common_slope(lines: Sequence[Line], spread: float) -> tuple[float, float, float]:
    """Slope that all lines share, its standard uncertainty, and the variance that pieces have beyond their own."""
    parts = []
    for along, at, u in lines:
        weight = 1 / (u**2 + spread)
        t, y = along - weight @ along / weight.sum(), at - weight @ at / weight.sum()
        parts.append((weight, t, y, u))
    levers = np.array([weight @ t**2 for weight, t, _, _ in parts])
    moments = np.array([weight @ (t * y) for weight, t, y, _ in parts])
    lever = float(levers.sum())
    slope = float(moments.sum()) / lever
    squares = expected = steps = 0.0
    for weight, t, y, u in parts:
        squares += float(weight @ (y - slope * t) ** 2)
        # What the squares are expected to be without any spread, and by how much one unit of it raises them.
        hat = weight / weight.sum() + weight * t**2 / lever
        expected += float((weight * u**2) @ (1 - hat))
        steps += float(weight @ (1 - hat))
    # Lanes wobble slowly: neighbouring pieces stray together, which shows in slopes that differ from line to line.
    told = levers > 0
    off = moments[told] / levers[told] - slope
    excess = float(levers[told] @ off**2) / max(1, int(told.sum()) - 1)
    return slope, float(np.sqrt(max(1.0, excess) / lever)), max(0.0, (squares - expected) / steps)


def _line_at(line: Line, slope: float, spread: float, old: StripEnd) -> StripEnd:
    """Where a border of known slope passes the middle of the patch."""
    if not old.closed:
        return old
    along, at, u = line
    weight = 1 / (np.maximum(u, LEAST_U_MM) ** 2 + spread)
    mean = float(weight @ (at - slope * along) / weight.sum())
    return StripEnd(mean, float(weight.sum() ** -0.5), closed=True)


def strays_mm(path: Course) -> float:
    """How far a strip's middle strays from its straight line, root mean square, what chance adds taken off."""
    weight = 1 / np.maximum(path.middle_u, LEAST_U_MM) ** 2
    off = path.middle - weight @ path.middle / weight.sum()
    return float(np.sqrt(max(0.0, float(weight @ (off**2 - path.middle_u**2) / weight.sum()))))
