"""Strips that are too faint to be seen one by one, by the comb that they form together."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ...arrays import Floats
from .comb import LEAST_PITCH_MM, MOST_PITCH_MM, comb_through
from .evidence import LaneEvidence
from .search import STEP_MM, borders_evidence
from .strips import ROOM_MM, Span

#: Chance that a strip of a comb is missing, because its two lanes happened to overlap.
_MISSING = 0.1


@dataclass(frozen=True, slots=True)
class FaintComb:
    """The likeliest comb: its evidence (log-likelihood ratio) less what as many tries bring by chance."""

    evidence: float
    heading: int
    spans: tuple[Span, ...]


def with_faint_strips(evidence: LaneEvidence, heading_deg: float, spans: Sequence[Span]) -> list[Span]:
    """Add strips that lie where a comb through two strips or more has them, though they are too faint alone.

    Parameters
    ----------
    evidence : LaneEvidence
        The patch's grains.
    heading_deg : float
        The strips' heading.
    spans : sequence of (low, high)
        Strips that are seen.

    Returns
    -------
    list of (low, high)
        With those of the comb that explains the grains best: its pitch divides the smallest gap by a whole number.

    Notes
    -----
    What the grains near a place say for a strip is averaged over the borders it may have there, so that trying many
    combs brings nothing by itself.
    """
    middles = np.array([(low + high) / 2 for low, high in spans])
    if len(middles) < 2:
        return list(spans)
    width = float(np.median([high - low for low, high in spans]))
    place, _ = evidence.across_along(heading_deg)
    gap = float(np.diff(middles).min())
    best, added = 0.0, list[float]()
    for parts in range(1, int(gap / LEAST_PITCH_MM) + 1):
        if gap / parts > MOST_PITCH_MM:
            continue
        numbers = np.round((middles - middles[0]) * parts / gap).astype(int)
        comb = comb_through(numbers, middles, np.ones(len(middles)))
        if not all(comb.fits(float(middle)) for middle in middles):
            continue
        steps = (np.array([place.min(), place.max()]) - comb.first_mm) / comb.pitch_mm
        others = [k for k in range(int(np.ceil(steps[0])), int(np.floor(steps[1])) + 1) if k not in numbers]
        at = [comb.first_mm + k * comb.pitch_mm for k in others]
        says = np.array([_says(place, evidence.ratio, middle, width) for middle in at])
        total = float(np.logaddexp(np.log(_MISSING), np.log(1 - _MISSING) + says).sum()) if len(says) else 0.0
        if total > best + np.log(parts + 1.0):
            best, added = total, [middle for middle, value in zip(at, says, strict=True) if value > 1.0]
    return sorted([*spans, *((middle - width / 2, middle + width / 2) for middle in added)])


def _says(place: Floats, ratio: Floats, middle: float, width: float) -> float:
    """Average evidence for a strip of about this width with its middle about here."""
    room = min(ROOM_MM, width)
    pairs = int((width + 2 * room) / STEP_MM) + 1
    near = np.abs(place - middle) < width / 2 + room
    total = borders_evidence(place[near] - middle + width / 2, ratio[near], width, room)
    return total - float(np.log(pairs * (pairs + 1) / 2))


def search_combs(profile: Floats, step_mm: float, pitches_mm: Floats, widths_mm: Floats, grains: int) -> FaintComb:
    """Search profiles for strips of one width that repeat at one pitch.

    Parameters
    ----------
    profile : ndarray of shape (B, H)
        Sums of log-likelihood ratios by place across each heading.
    step_mm : float
        Width of a bin.
    pitches_mm, widths_mm : ndarray
        What to try.
    grains : int
        Number of grains: no more places than that can differ.

    Returns
    -------
    FaintComb
        Spans are counted from the first bin.

    Notes
    -----
    A strip may be missing with chance q: it then counts log(q + (1 - q) exp(w)) instead of its sum w. The likelihood
    ratio of a comb without effect has mean 1, so that the best of T tries exceeds log T + x with a chance below
    exp(-x) (Markov's inequality).
    """
    bins, headings = profile.shape
    summed = np.concatenate([np.zeros((1, headings)), np.cumsum(profile, axis=0)]).astype(np.float32)
    best, place = -np.inf, (0, 0, 1, 1)
    tries = 0
    for width in np.unique(np.maximum(np.round(widths_mm / step_mm).astype(int), 1)):
        window = summed[width:] - summed[:-width]
        strip = np.logaddexp(np.float32(np.log(_MISSING)), np.float32(np.log(1 - _MISSING)) + window)
        for pitch in np.unique(np.round(pitches_mm / step_mm).astype(int)):
            total = strip[:pitch].copy()
            for start in range(int(pitch), len(strip), int(pitch)):
                part = strip[start : start + pitch]
                total[: len(part)] += part
            tries += min(total.size, grains * headings)
            top = int(np.argmax(total))
            if total.flat[top] > best:
                best, place = float(total.flat[top]), (top // headings, top % headings, int(pitch), int(width))
    first, heading, spacing, wide = place
    column = summed[:, heading]
    lows = [low for low in range(first, bins - wide + 1, spacing) if column[low + wide] > column[low]]
    spans = tuple((low * step_mm, (low + wide) * step_mm) for low in lows)
    return FaintComb(best - float(np.log(max(tries, 1))), heading, spans)
