"""Borders of straight strips of floor that the machine never reached."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ...arrays import Floats
from .evidence import LaneEvidence

Span = tuple[float, float]

#: Lanes stray by some millimetres in slow waves, which shift, bend and turn a strip as well. Of made-up lanes that
#: stray by 3 mm, root mean square, nineteen in twenty strips do so by less than this, mm.
STRAY_MM = 8.0
#: How far off its first place a border is looked for, mm: a little more than lanes stray.
ROOM_MM = 10.0
#: No border is known better than this, mm: grains' places are not.
LEAST_U_MM = 0.05


@dataclass(frozen=True, slots=True)
class StripEnd:
    """Where a strip ends across: the mean and standard deviation of what the grains leave possible, mm.

    ``closed`` says that the floor beyond it was reached; otherwise the strip may go on, as at the rim of the patch.
    """

    at_mm: float
    u_mm: float
    closed: bool


@dataclass(frozen=True, slots=True)
class Found:
    """A strip at a heading, by its two borders."""

    low: StripEnd
    high: StripEnd

    @property
    def span(self) -> Span:
        """Places of both borders, mm."""
        return self.low.at_mm, self.high.at_mm

    @property
    def width_mm(self) -> float:
        """From border to border, mm."""
        return self.high.at_mm - self.low.at_mm

    @property
    def width_u_mm(self) -> float:
        """Standard uncertainty of the width, mm."""
        return float(np.hypot(self.low.u_mm, self.high.u_mm))

    @property
    def closed(self) -> bool:
        """Whether floor on both sides of it was reached."""
        return self.low.closed and self.high.closed


def border(place: Floats, ratio: Floats, inner: float, outer: float) -> StripEnd:
    """Find where a strip ends between a place inside it and one beyond it.

    Parameters
    ----------
    place : ndarray of shape (N,)
        Places of grains across, mm.
    ratio : ndarray of shape (N,)
        Their log-likelihood ratios.
    inner, outer : float
        A place within the strip, and how far it may reach at most; ``outer`` may be on either side.

    Returns
    -------
    StripEnd

    Notes
    -----
    Every place between two neighbouring grains is as likely as any other between them; the border's distribution is
    piecewise even with the likelihoods as heights.
    """
    sign = 1.0 if outer > inner else -1.0
    distance = sign * (place - inner)
    length = abs(outer - inner)
    if length == 0:
        return StripEnd(inner, 0.0, closed=False)
    chosen = (distance > 0) & (distance < length)
    order = np.argsort(distance[chosen])
    cuts = np.concatenate([[0.0], distance[chosen][order], [length]])
    summed = np.concatenate([[0.0], np.cumsum(ratio[chosen][order])])
    width = np.diff(cuts)
    weight = width * np.exp(summed - summed.max())
    weight /= weight.sum()
    middle = (cuts[1:] + cuts[:-1]) / 2
    mean = float(weight @ middle)
    # An even distribution of a width has a variance of its square over 12.
    variance = float(weight @ ((middle - mean) ** 2 + width**2 / 12))
    # Beyond a closed border the evidence falls by more than a chance of one in a hundred makes it.
    closed = bool(summed.max() - summed[-1] > 4.6)
    return StripEnd(inner + sign * mean, float(np.sqrt(variance)), closed)


def strip_borders(evidence: LaneEvidence, heading_deg: float, spans: Sequence[Span]) -> list[Found]:
    """Find both borders of each strip; each is sought as far as the middle between it and the next strip."""
    if not len(evidence):
        return []
    across, _ = evidence.across_along(heading_deg)
    order = np.argsort(across)
    place, ratio = across[order], evidence.ratio[order]
    found = []
    for number, (low, high) in enumerate(spans):
        before = (spans[number - 1][1] + low) / 2 if number else place[0]
        after = (high + spans[number + 1][0]) / 2 if number + 1 < len(spans) else place[-1]
        middle = float(np.clip((low + high) / 2, before, after))
        # The first border may be off by as much as the strip is wide, or by what several straying lanes add up to.
        room = max(30.0, high - low)
        near = slice(*np.searchsorted(place, (before, after)))
        part = place[near], ratio[near]
        down = border(*part, middle, max(before, low - room))
        found.append(Found(down, border(*part, middle, min(after, high + room))))
    return found
