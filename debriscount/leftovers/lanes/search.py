"""Search all headings for straight strips of floor that the machine never reached."""

from collections.abc import Sequence

import numpy as np

from ...arrays import Floats
from .evidence import LaneEvidence
from .strips import Span

#: Places of borders that are tried, mm: finer than grains' places are known.
STEP_MM = 0.25


def profiles(evidence: LaneEvidence, headings_deg: Floats, step_mm: float, reach_mm: float) -> Floats:
    """Sums of log-likelihood ratios by place across each heading.

    Parameters
    ----------
    evidence : LaneEvidence
        The patch's grains.
    headings_deg : ndarray of shape (H,)
        Headings.
    step_mm : float
        Width of a bin.
    reach_mm : float
        How far from the middle of the patch its grains lie at most.

    Returns
    -------
    ndarray of shape (B, H)
        Bin b holds the grains from b to b + 1 steps beyond ``-reach_mm``.
    """
    bins = int(np.ceil(2 * reach_mm / step_mm)) + 2
    x, y = (evidence.x_mm / step_mm).astype(np.float32), (evidence.y_mm / step_mm).astype(np.float32)
    start = np.float32(reach_mm / step_mm)
    summed = np.empty((len(headings_deg), bins))
    for row, heading in zip(summed, np.deg2rad(headings_deg).astype(np.float32), strict=True):
        place = (y * np.cos(heading) - x * np.sin(heading) + start).astype(np.intp)
        row[:] = np.bincount(place, evidence.ratio, bins)
    return summed.T.copy()


def strips_total(profile: Floats, penalty: float) -> Floats:
    """Largest sum that disjoint segments of each column can have, every segment paying ``penalty``; shape (H,).

    Notes
    -----
    Dynamic programming over two states, outside and inside a segment; linear in the number of bins.
    """
    outside = np.zeros(profile.shape[1])
    inside = np.full(profile.shape[1], -np.inf)
    for row in profile:
        inside = np.maximum(inside, outside - penalty) + row
        outside = np.maximum(outside, inside)
    return outside


def strips_at(profile: Floats, penalty: float) -> list[tuple[int, int]]:
    """The segments that `strips_total` counts in one profile of shape (B,): first bin and the one after the last."""
    outside, inside = 0.0, -np.inf
    opened, left = np.zeros(len(profile), bool), np.zeros(len(profile), bool)
    for place, value in enumerate(profile):
        opened[place] = outside - penalty > inside
        inside = max(inside, outside - penalty) + value
        left[place] = inside > outside
        outside = max(outside, inside)
    segments, stop = [], None
    for place in range(len(profile) - 1, -1, -1):
        if stop is None and left[place]:
            stop = place + 1
        if stop is not None and opened[place]:
            segments.append((place, stop))
            stop = None
    return segments[::-1]


def heading_evidence(evidence: LaneEvidence, spans: Sequence[Span], headings_deg: Floats, room_mm: float) -> Floats:
    """Evidence for strips near ``spans`` at each heading, all places of their borders taken together; shape (H,).

    Parameters
    ----------
    evidence : LaneEvidence
        The patch's grains.
    spans : sequence of (low, high)
        Roughly where the strips lie across, mm.
    headings_deg : ndarray of shape (H,)
        Headings near that of the spans.
    room_mm : float
        How far their borders may lie off.

    Returns
    -------
    ndarray of shape (H,)
        Logarithm of the likelihood, averaged over the borders' places up to a constant.
    """
    reach = float(np.hypot(evidence.x_mm, evidence.y_mm).max(initial=0.0))
    total = np.zeros(len(headings_deg))
    across, _ = evidence.across_along(float(np.mean(headings_deg)))
    # Grains far from the strips would only cost time: within this turn none of them can come into a window.
    slack = room_mm + reach * np.deg2rad(float(np.ptp(headings_deg)))
    for low, high in spans:
        near = evidence.take((across > low - slack) & (across < high + slack))
        for index, heading in enumerate(headings_deg):
            place, _ = near.across_along(float(heading))
            total[index] += borders_evidence(place - low, near.ratio, high - low, room_mm)
    return total


def borders_evidence(place_mm: Floats, ratio: Floats, width_mm: float, room_mm: float) -> float:
    """Evidence for a strip from about 0 to ``width_mm``, all places of its borders taken together.

    Parameters
    ----------
    place_mm, ratio : ndarray of shape (N,)
        Grains' places across and their log-likelihood ratios.
    width_mm, room_mm : float
        The strip's rough width, and how far its borders may lie off.

    Returns
    -------
    float
        Logarithm of the summed likelihoods of all pairs of borders.
    """
    bins = int((width_mm + 2 * room_mm) / STEP_MM) + 1
    cell = np.floor((place_mm + room_mm) / STEP_MM).astype(int)
    good = (cell >= 0) & (cell < bins)
    summed = np.concatenate([[0.0], np.cumsum(np.bincount(cell[good], ratio[good], bins))])
    before = np.logaddexp.accumulate(-summed[:-1])
    return float(np.logaddexp.reduce(summed[1:] + before))
