"""The pattern of parallel lanes, from the strips of floor that they left between them."""

from collections.abc import Sequence

import numpy as np

from ...grains.table import GrainTable
from ...inputs.patch import Patch
from ..reach.survival import GrainEvidence
from ..records import Fates, Lanes, Strip, in_patch
from .comb import comb_of, lanes_across, strips_on_comb, usual_width
from .course import chord, course, left_throughout, straighten, strays_mm
from .doubts import along_wall, apart, crosses_alone, left_elsewhere, no_slivers, straightness
from .evidence import LaneEvidence, beyond_wall_gaps
from .pattern import LanePattern, refine_pattern, seek_pattern
from .strips import Found, strip_borders

#: Fewer grains than this cannot tell a strip from a chance row.
_LEAST_GRAINS = 30
#: A wider strip, mm, is no slip between two lanes: a whole lane is missing, or the machine does not drive in lanes.
_WIDEST_MM = 75.0
#: What a strip of a comb has to say at least, log-likelihood: a chance of one in seven.
_LEAST_SAYS = 2.0
#: Share of the evidence for all that looks like strips that has to come from such as pass for lanes' strips.
_KEPT_SHARE = 0.6
#: How much better straight strips have to explain the grains than crooked ones, log-likelihood ratio: all together to
#: a thousand to one where they repeat, to twenty thousand to one where they do not, as nothing else speaks for them.
_STRAIGHT, _STRAIGHT_ALONE = 7.0, 10.0
#: How much floor may have been left elsewhere (a corner, a turn too wide), as a share of the strips' area: as much as
#: they have where they repeat, little where they do not.
_ELSEWHERE, _ELSEWHERE_ALONE = 1.0, 0.25
#: A heading less certain than this, degrees, is none.
_MOST_U_DEG = 2.0


def find_lanes(said: GrainEvidence, fates: Fates, patch: Patch) -> Lanes | None:
    """Find the lanes that a machine left strips between.

    Parameters
    ----------
    said : GrainEvidence
        What each grain says of its place.
    fates : Fates
        What became of the grains in one pass.
    patch : Patch
        The patch that they lie in.

    Returns
    -------
    Lanes or None
        None where no strips are surely seen: lanes that overlap, a machine that wanders or reaches everywhere.

    Notes
    -----
    Every grain says how much likelier its fate is where the machine never came. Straight strips are sought at every
    heading that hold as much of that as possible.
    """
    evidence = beyond_wall_gaps(said, fates, patch)
    pattern = _pattern(evidence) if len(evidence) >= _LEAST_GRAINS else None
    if pattern is None:
        return None
    heading, heading_u = pattern.heading_deg, pattern.heading_u_deg
    found = strip_borders(evidence, heading, pattern.spans)
    # Once more, as pieces are cut along the heading that the first fit turns.
    for _ in range(2):
        straight = straighten(found, [course(evidence, heading, strip) for strip in found])
        if straight is None:
            break
        heading, heading_u, found = heading + straight.turn_deg, straight.turn_u_deg, straight.found
    strips = _sure_strips(evidence, heading, found, patch)
    if not strips or heading_u > _MOST_U_DEG:
        return None
    return _record(evidence, (heading, heading_u), strips, fates.later, patch)


def _pattern(evidence: LaneEvidence) -> LanePattern | None:
    # Grains seen at the foot of a wall may seem to lie a little behind it.
    pattern = seek_pattern(evidence, float(np.hypot(evidence.x_mm, evidence.y_mm).max()))
    # Twice the step of the coarse headings, then about what the first round leaves.
    for turn in (1.0, 0.25):
        pattern = refine_pattern(evidence, pattern, turn) if pattern else None
    return pattern


def _sure_strips(evidence: LaneEvidence, heading: float, found: Sequence[Found], patch: Patch) -> list[Found]:
    """The strips that surely lie between lanes; none where doubts prevail."""
    across, _ = evidence.across_along(heading)

    def says(strip: Found) -> float:
        return float(evidence.ratio[(across > strip.span[0]) & (across < strip.span[1])].sum())

    def is_whole(strip: Found) -> bool:
        ends = chord(patch, heading, sum(strip.span) / 2)
        return ends is not None and left_throughout(evidence, heading, strip, ends)

    total = sum(max(0.0, says(strip)) for strip in found)
    # Only the rim of the patch may leave a border open; beside another strip it means that neither is clear.
    last = len(found) - 1
    found = [s for n, s in enumerate(found) if (s.low.closed or n == 0) and (s.high.closed or n == last)]
    found = [strip for strip in found if says(strip) > _LEAST_SAYS]
    whole = [strip for strip in found if is_whole(strip)]
    whole = no_slivers(whole, [says(strip) for strip in whole])
    whole = apart(whole, [says(strip) for strip in whole])
    closed = [strip for strip in whole if strip.closed]
    if not closed:
        return []
    width, _ = usual_width(closed)
    kept = strips_on_comb(whole)
    if sum(says(strip) for strip in kept) < _KEPT_SHARE * total:
        return []
    repeat = comb_of(kept) is not None
    straight = sum(straightness(evidence, heading, strip) for strip in closed)
    elsewhere = left_elsewhere(evidence, heading, kept, patch)
    if width > _WIDEST_MM or straight < (_STRAIGHT if repeat else _STRAIGHT_ALONE):
        return []
    if elsewhere > (_ELSEWHERE if repeat else _ELSEWHERE_ALONE):
        return []
    if repeat:
        return kept
    clearest = max(kept, key=says)
    ends = chord(patch, heading, sum(clearest.span) / 2)
    doubtful = ends is None or along_wall(clearest, ends, patch)
    return kept if not doubtful and ends is not None and crosses_alone(clearest, says(clearest), ends, patch) else []


def _record(
    evidence: LaneEvidence, heading: tuple[float, float], strips: Sequence[Found], later: GrainTable, patch: Patch
) -> Lanes:
    later = later.take(in_patch(later))
    left = LaneEvidence(later.x_mm - patch.width_mm / 2, later.y_mm - patch.height_mm / 2, later.area_mm2)
    across, _ = left.across_along(heading[0])
    total = float(later.area_mm2.sum())
    rows = []
    for strip in strips:
        low, high = strip.span
        ends = chord(patch, heading[0], (low + high) / 2)
        if ends is None:
            continue
        share = 100 * float(later.area_mm2[(across > low) & (across < high)].sum()) / total if total else 0.0
        path = course(evidence, heading[0], strip)
        # Of two pieces a line leaves nothing to stray.
        straight = None if path is None or len(path.along) < 3 else strays_mm(path)
        rows.append(
            Strip(
                ends_mm=ends,
                width_mm=high - low,
                width_u_mm=strip.width_u_mm,
                straight_mm=straight,
                share_percent=share,
            )
        )
    width, width_u = usual_width(strips)
    comb = comb_of(strips)
    strays = [row.straight_mm for row in rows if row.straight_mm is not None]
    sine, cosine = np.sin(np.deg2rad(heading[0])), np.cos(np.deg2rad(heading[0]))
    half = float(patch.width_mm * abs(sine) + patch.height_mm * abs(cosine)) / 2
    return Lanes(
        heading_deg=heading[0] % 180,
        heading_u_deg=heading[1],
        pitch_mm=None if comb is None else comb.pitch_mm,
        pitch_u_mm=None if comb is None else comb.pitch_u_mm,
        strip_mm=width,
        strip_u_mm=width_u,
        lanes=None if comb is None else lanes_across(comb, strips, half),
        straight_mm=float(np.sqrt(np.mean(np.square(strays)))) if strays else None,
        strips=tuple(rows),
        share_percent=sum(row.share_percent for row in rows),
    )
