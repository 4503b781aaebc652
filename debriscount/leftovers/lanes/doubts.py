"""Doubts about strips: what arcs of a spiral and slivers between crossing paths have that lanes' strips have not."""

from collections.abc import Sequence

import numpy as np

from ...arrays import Floats
from ...inputs.patch import Patch
from .course import Ends, chord, length_mm
from .evidence import LaneEvidence
from .search import borders_evidence
from .strips import ROOM_MM, STRAY_MM, Found

#: Straying lanes change a strip's width from end to end by less than this, mm, in nineteen of twenty made-up strips.
_TAPER_MM = 24.0
#: Spot spirals wind within a few machine lengths; what bends less than this radius, mm, is a lane.
_BEND_RADIUS_MM = 1000.0
#: What a strip has to say to be one without others: about four pieces of it, each a chance of one in 20,000.
_SAYS_ALONE = 40.0
#: Shapes that are tried, as multiples of what lanes stray; up to the first limit a strip is straight, from the second
#: on it is crooked, in between it may be either.
_BENDS = np.arange(-4.0, 4.1, 0.5)
_TURNS = np.array([-3.0, -2.0, -1.0, -0.5, 0.0, 0.5, 1.0, 2.0, 3.0])
_TAPERS = np.arange(-0.9, 0.91, 0.1)
_STRAIGHT, _CROOKED = 1.0, 1.5
#: Many grains are no better judge of a strip's shape than this, log-likelihood: lanes stray in other shapes as well.
_MOST_SAID = 15.0
#: A sliver beside the clearest strip is under a third of its width (where lanes stray by a quarter of a strip, standard
#: deviation, they narrow one strip in thirty as much) and says under a tenth as much.
_SLIVER, _SAYS_LITTLE = 1 / 3, 0.1
#: No cleaning head is narrower than this, mm, so that strips closer to one another have no lane between them.
_NARROWEST_LANE_MM = 40.0


def straightness(evidence: LaneEvidence, heading_deg: float, strip: Found) -> float:
    """How much better a straight strip explains the grains than a crooked one, log-likelihood ratio.

    Notes
    -----
    Strips are tried whose middle follows a parabola, as arcs do, and such whose width changes along them, as slivers
    do. Each kind is averaged over its shapes. Of tapers only what speaks for them counts: a strip need not be told
    from all slivers, as crossing paths leave few that are as long as the patch.
    """
    across, along = evidence.across_along(heading_deg)
    low, high = strip.span
    width = strip.width_mm
    room = max(ROOM_MM, width / 2)
    within = (across > low) & (across < high)
    if not within.any():
        return -_MOST_SAID
    first, last = along[within].min(), along[within].max()
    half = max((last - first) / 2, 1.0)
    bend_mm = max((2 * half) ** 2 / 8 / _BEND_RADIUS_MM, STRAY_MM)
    slack = width / 2 + room + _BENDS[-1] * bend_mm + _TURNS[-1] * STRAY_MM
    near = (np.abs(across - (low + high) / 2) < slack) & (along >= first) & (along <= last)
    t, place, ratio = (along[near] - (first + last) / 2) / half, across[near] - low, evidence.ratio[near]

    def likely(bend: float, turn: float) -> float:
        shift = turn * STRAY_MM * t + bend * bend_mm * (t**2 - 1 / 3)
        return borders_evidence(place - shift, ratio, width, room)

    curved = np.array([[likely(bend, turn) for turn in _TURNS] for bend in _BENDS])
    size = np.maximum(np.abs(_BENDS)[:, None], np.abs(_TURNS))
    middle = width / 2
    tapered = np.array(
        [borders_evidence((place - middle) / (1 + taper * t) + middle, ratio, width, room) for taper in _TAPERS]
    )
    # Narrower strips close where lanes stray as much; a sliver changes by twice its width, from nothing.
    narrowing = 2 * width * np.abs(_TAPERS) / min(_TAPER_MM, width)
    said = _compared(curved, size) + min(0.0, _compared(tapered, narrowing))
    return float(np.clip(said, -_MOST_SAID, _MOST_SAID))


def _compared(likely: Floats, size: Floats) -> float:
    """Mean likelihood of straight shapes over that of crooked ones, logarithm; without limit where there are none."""
    straight, crooked = likely[size <= _STRAIGHT], likely[size > _CROOKED]
    if not len(crooked):
        return np.inf
    means = [np.logaddexp.reduce(part) - np.log(len(part)) for part in (straight, crooked)]
    return float(means[0] - means[1])


def crosses_alone(strip: Found, says: float, ends: Ends, patch: Patch) -> bool:
    """Whether a strip without others is surely one: long, many times longer than wide, and told piece by piece."""
    width, length = strip.width_mm, length_mm(ends)
    # From side to side, and so slender that no other thing left is like it.
    long = length > 0.8 * min(patch.width_mm, patch.height_mm) and length > 5 * width
    return long and strip.width_u_mm < width / 4 and says > _SAYS_ALONE


def along_wall(strip: Found, ends: Ends, patch: Patch) -> bool:
    """Whether a strip lies so near along a wall that no lane fits between: it is what the wall kept the machine off."""
    room = _NARROWEST_LANE_MM + strip.width_mm / 2
    return any(max(patch.to_side_mm(wall, x, y) for x, y in ends) < room for wall in patch.walls)


def apart(strips: Sequence[Found], says: Sequence[float]) -> list[Found]:
    """Strips between which lanes have room; of two that are too near each other the one that says less is left out."""
    kept: list[Found] = []
    for number in np.argsort(says)[::-1]:
        low, high = strips[number].span
        if all(low - other.span[1] > _NARROWEST_LANE_MM or other.span[0] - high > _NARROWEST_LANE_MM for other in kept):
            kept.append(strips[number])
    return sorted(kept, key=lambda strip: strip.span)


def no_slivers(strips: Sequence[Found], says: Sequence[float]) -> list[Found]:
    """Strips without such as are slivers beside the clearest one: a few grains that chance put in a row along it.

    Notes
    -----
    Where lanes stray, strips between them differ; one that is both much narrower and says next to nothing adds nothing
    to what the clearest one tells of heading and width, but would halve the pitch.
    """
    clearest = int(np.argmax(says)) if len(says) else 0
    return [
        strip
        for strip, word in zip(strips, says, strict=True)
        if strip.width_mm > _SLIVER * strips[clearest].width_mm or word > _SAYS_LITTLE * says[clearest]
    ]


def left_elsewhere(evidence: LaneEvidence, heading_deg: float, strips: Sequence[Found], patch: Patch) -> float:
    """Area of floor that was left outside the strips, as a multiple of the strips' area.

    Notes
    -----
    Floor is looked at in squares of about eight grains; one counts if its grains say so to one in a hundred.
    """
    across, _ = evidence.across_along(heading_deg)
    near = np.zeros(len(evidence), bool)
    area = 0.0
    for strip in strips:
        low, high = strip.span
        near |= (across > low - STRAY_MM) & (across < high + STRAY_MM)
        ends = chord(patch, heading_deg, (low + high) / 2)
        area += 0.0 if ends is None else length_mm(ends) * strip.width_mm
    # No less than the largest grains take, no more than a corner that was left.
    size = float(np.clip(np.sqrt(8 * patch.width_mm * patch.height_mm / len(evidence)), 10, 60))
    columns = int(np.ceil(patch.width_mm / size)) + 1
    cell = ((evidence.y_mm + patch.height_mm / 2) / size).astype(int) * columns
    cell += ((evidence.x_mm + patch.width_mm / 2) / size).astype(int)
    sums = np.bincount(cell[~near], evidence.ratio[~near])
    # ln 100; off 0 where no strip crosses.
    return float((sums > 4.6).sum() * size**2 / max(area, 1e-9))
