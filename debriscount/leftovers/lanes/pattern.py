"""Seek the pattern of strips that explains best what stayed: a heading and spans across it."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from .comb import LEAST_PITCH_MM, MOST_PITCH_MM
from .evidence import LaneEvidence
from .faint import search_combs, with_faint_strips
from .search import heading_evidence, profiles, strips_at, strips_total
from .strips import ROOM_MM, STRAY_MM, Span, strip_borders

#: How often chance alone may make strips out of a patch without: once in ten thousand.
_CHANCE = 1e-4
#: Coarse headings: at half a step off, the ends of a strip 700 mm long lie 1.5 mm off its middle line.
_HEADINGS = np.arange(0.0, 180.0, 0.5)
_BIN_MM = 1.0
#: Faint strips are sought as combs at these pitches and widths, in coarser bins; with more grains than this each strip
#: is seen by itself.
_COMB_BIN_MM = 2.0
_PITCHES_MM = np.arange(LEAST_PITCH_MM, MOST_PITCH_MM + 1, 4.0)
_WIDTHS_MM = np.geomspace(6.0, 60.0, 6)
_COMB_GRAINS = 5000


@dataclass(frozen=True, slots=True, eq=False)
class LanePattern:
    """Strips at a heading: where they lie across it, mm from the middle of the patch."""

    heading_deg: float
    heading_u_deg: float
    spans: list[Span]


def seek_pattern(evidence: LaneEvidence, reach_mm: float) -> LanePattern | None:
    """The likeliest strips at any heading, if they are such as chance does not bring.

    Parameters
    ----------
    evidence : LaneEvidence
        The patch's grains.
    reach_mm : float
        How far from the middle of the patch they lie at most.

    Returns
    -------
    Pattern or None

    Notes
    -----
    Strips that each say enough for themselves are found by dynamic programming; else combs of faint ones are tried.
    """
    if not len(evidence):
        return None
    least = -np.log(_CHANCE)
    profile = profiles(evidence, _HEADINGS, _BIN_MM, reach_mm)
    # What a strip must say for itself: the logarithm of how many places and widths it could have had.
    places, widths = min(len(profile), len(evidence)), min(60.0 / _BIN_MM, len(evidence))
    penalty = float(np.log(places * widths))
    totals = strips_total(profile, penalty)
    best = int(np.argmax(totals))
    says = float(totals[best] - np.log(len(_HEADINGS)))
    if says > least or len(evidence) > _COMB_GRAINS:
        spans = [(a * _BIN_MM - reach_mm, b * _BIN_MM - reach_mm) for a, b in strips_at(profile[:, best], penalty)]
        return LanePattern(float(_HEADINGS[best]), 1.0, merged(spans)) if says > least and spans else None
    ratio = int(_COMB_BIN_MM / _BIN_MM)
    coarse = profile[: len(profile) // ratio * ratio].reshape(-1, ratio, len(_HEADINGS)).sum(axis=1)
    faint = search_combs(coarse, _COMB_BIN_MM, _PITCHES_MM, _WIDTHS_MM, len(evidence))
    if faint.evidence < least or len(faint.spans) < 2:
        return None
    return LanePattern(float(_HEADINGS[faint.heading]), 1.0, [(a - reach_mm, b - reach_mm) for a, b in faint.spans])


def merged(spans: Sequence[Span]) -> list[Span]:
    """Ascending spans, those less apart than lanes stray taken together: a few reached grains divide no strip."""
    joined = list(spans[:1])
    for low, high in spans[1:]:
        if low - joined[-1][1] < STRAY_MM:
            joined[-1] = joined[-1][0], high
        else:
            joined.append((low, high))
    return joined


def refine_pattern(evidence: LaneEvidence, pattern: LanePattern, turn_deg: float) -> LanePattern | None:
    """The same strips at a finer heading, within ``turn_deg`` of theirs, their borders found anew."""
    # Steps of a tenth of the turn.
    headings = pattern.heading_deg + np.linspace(-turn_deg, turn_deg, 21)
    spans = with_faint_strips(evidence, pattern.heading_deg, pattern.spans)
    likely = heading_evidence(evidence, spans, headings, ROOM_MM)
    weight = np.exp(likely - likely.max())
    weight /= weight.sum()
    heading = float(headings @ weight)
    found = strip_borders(evidence, heading, spans)
    refined = [strip.span for strip in found if strip.span[1] > strip.span[0]]
    return LanePattern(heading, float(np.sqrt(weight @ (headings - heading) ** 2)), refined) if refined else None
