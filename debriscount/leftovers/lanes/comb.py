"""Strips that repeat: their usual width, their pitch, how many lanes there are."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ...arrays import Floats, Mask
from ...stats.regression import fit_line
from .strips import LEAST_U_MM, Found

#: From lane to lane, mm: no cleaning head is narrower, and the largest vacuum robots measure some 350 mm.
LEAST_PITCH_MM, MOST_PITCH_MM = 70.0, 350.0
#: Strips that do not repeat lie 0.29 pitch off, root mean square, and half a pitch at most; lanes that vary by a tenth
#: of the pitch lie half as far.
_MOST_OFF = 0.15
#: A strip so many times and so many mm wider than the median comes from a turn too wide; lanes that vary by some
#: millimetres do not add as much.
_WIDE, _WIDE_MM = 2.0, 20.0


@dataclass(frozen=True, slots=True)
class Comb:
    """Strips' middles at ``first_mm + k pitch_mm``, counted across the heading from the middle of the patch."""

    first_mm: float
    pitch_mm: float
    pitch_u_mm: float

    def off(self, middle_mm: float) -> float:
        """How far a place is from the nearest middle, as a share of the pitch."""
        steps = (middle_mm - self.first_mm) / self.pitch_mm
        return abs(steps - round(steps))

    def fits(self, middle_mm: float) -> bool:
        """Whether a strip there belongs to the comb."""
        return self.off(middle_mm) < _MOST_OFF


def fit_comb(middles_mm: Sequence[float], u_mm: Sequence[float]) -> Comb | None:
    """Fit a pitch to strips' middles, of which some may be missing in between.

    Parameters
    ----------
    middles_mm, u_mm : sequence of float, of length N
        Ascending places across the heading, and their standard uncertainties.

    Returns
    -------
    Comb or None
        The largest pitch that all gaps are multiples of; None for fewer than two strips, where no pitch fits, and for
        two strips farther apart than lanes are: how many lanes lie between them cannot be known.
    """
    middles, u = np.asarray(middles_mm, float), np.asarray(u_mm, float)
    if len(middles) < 2:
        return None
    gaps = np.diff(middles)
    # A third of the smallest gap would fit almost any strips.
    for pitch in (gaps.min(), gaps.min() / 2):
        if not LEAST_PITCH_MM <= pitch <= MOST_PITCH_MM or (len(gaps) == 1 and pitch < gaps[0]):
            continue
        numbers = np.concatenate([[0], np.cumsum(np.round(gaps / pitch))]).astype(int)
        comb = comb_through(numbers, middles, u)
        if np.abs(middles - comb.first_mm - comb.pitch_mm * numbers).max() < _MOST_OFF * comb.pitch_mm:
            return comb
    return None


def comb_through(numbers: NDArray[np.int_], middles: Floats, u: Floats) -> Comb:
    """The comb that fits strips' middles best by their numbers; ``u`` are the middles' standard uncertainties.

    Lanes vary by more than their borders' uncertainty: where three strips or more show it, it counts.
    """
    # Off 0.
    fit = fit_line(numbers, middles, np.maximum(u, 1e-3))
    pitch = fit.coefficient(1)
    return Comb(float(fit.coefficients[0]), pitch.value, pitch.u)


def usual_width(strips: Sequence[Found]) -> tuple[float, float]:
    """The closed strips' usual width and its standard uncertainty, mm."""
    width, u, spread = _usual_widths(strips)
    weight = 1 / (u**2 + spread)
    return float(weight @ width / weight.sum()), float(weight.sum() ** -0.5)


def _usual_widths(strips: Sequence[Found]) -> tuple[Floats, Floats, float]:
    """Closed strips' widths without such as are twice as wide, their uncertainties, and the variance beyond these."""
    width = np.array([strip.width_mm for strip in strips if strip.closed])
    u = np.array([max(LEAST_U_MM, strip.width_u_mm) for strip in strips if strip.closed])
    usual = ~_wide(width, float(np.median(width)))
    width, u = width[usual], u[usual]
    return width, u, max(0.0, float(np.var(width, ddof=1) - np.mean(u**2))) if len(width) > 1 else 0.0


def comb_of(strips: Sequence[Found]) -> Comb | None:
    """The pitch of strips that are closed or that the rim of the patch cuts; ascending.

    Notes
    -----
    After a turn too wide all lanes lie farther on: a wide strip is counted as if it were as wide as the others, and
    what follows is moved back by as much. Places of the comb are therefore right up to the first wide strip only.
    """
    width, _ = usual_width(strips)
    closed = [strip for strip in strips if strip.closed]
    # Where the closed ones have a comb of their own, others only make it more certain.
    own = fit_comb(_middles(closed, width), [1.0] * len(closed))
    usual = [
        strip
        for strip, middle in zip(strips, _middles(strips, width), strict=True)
        if strip.closed or (_cut_by_rim(strip, width) and (own is None or own.fits(middle)))
    ]
    # Lanes that vary make widths vary: a width by the square root of two as much as a lane, a middle by half of that.
    spread = _usual_widths(strips)[2] / 4
    return fit_comb(_middles(usual, width), [float(np.sqrt(_middle_u(strip) ** 2 + spread)) for strip in usual])


def strips_on_comb(strips: Sequence[Found]) -> list[Found]:
    """Strips that are closed, and such that the rim of the patch cuts where the others' comb has one."""
    width, _ = usual_width(strips)
    comb = comb_of(strips)
    on = [comb is not None and comb.fits(middle) for middle in _middles(strips, width)]
    return [
        strip for strip, fits in zip(strips, on, strict=True) if strip.closed or (fits and _cut_by_rim(strip, width))
    ]


def lanes_across(comb: Comb, strips: Sequence[Found], half_mm: float) -> int:
    """How many lanes cross a patch that reaches ``half_mm`` to both sides, also between strips that are not seen."""
    width, _ = usual_width(strips)
    wider = sum(_excess(strip, width) for strip in strips)
    # Lane k lies between the strips k and k + 1.
    first = np.floor((-half_mm - comb.first_mm + width / 2) / comb.pitch_mm)
    last = np.ceil((half_mm - wider - comb.first_mm - width / 2) / comb.pitch_mm) - 1
    return int(last - first) + 1


def _cut_by_rim(strip: Found, width: float) -> bool:
    """Whether it may be one of the others, cut by the rim of the patch."""
    # No wider than lanes that stray make one of the others.
    return strip.low.closed != strip.high.closed and strip.width_mm < 1.3 * width


def _excess(strip: Found, width: float) -> float:
    """By how much a wide strip is wider than the others, mm; 0 for the others."""
    return strip.width_mm - width if strip.closed and _wide(np.array(strip.width_mm), width) else 0.0


def _wide(width: Floats, usual: float) -> Mask:
    return np.asarray((width > _WIDE * usual) & (width > usual + _WIDE_MM))


def _middles(strips: Sequence[Found], width: float) -> list[float]:
    """Where strips' middles lie, would lie if the rim did not cut them, would lie if none were wide."""
    middles, moved = [], 0.0
    for strip in strips:
        low, high = strip.span
        excess = _excess(strip, width)
        if excess or not strip.high.closed:
            middle = low + width / 2
        elif not strip.low.closed:
            middle = high - width / 2
        else:
            middle = (low + high) / 2
        middles.append(middle - moved)
        moved += excess
    return middles


def _middle_u(strip: Found) -> float:
    if strip.closed:
        return strip.width_u_mm / 2
    return strip.low.u_mm if strip.low.closed else strip.high.u_mm
