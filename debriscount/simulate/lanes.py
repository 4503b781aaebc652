"""Parallel lanes: the floor that a machine passes over when it drives to and fro."""

from dataclasses import dataclass

import numpy as np

from ..arrays import Floats, Mask
from ..inputs.patch import Patch
from .spec import Cleaning

#: Waves that a straying lane is made of, and how long they are, mm: a wheeled machine corrects its course over a few of
#: its own lengths, and machines for floors are 0.2 to 0.4 m long.
_WAVES = 4
_WAVE_MM = (200.0, 500.0)
#: A lane's offset is cut at this many standard deviations, so that no lane is looked for in vain.
_MOST_DEVIATIONS = 4.0


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class DrivenLanes:
    """Lanes as driven.

    Lane n has its middle, across the heading, at ``offset_mm`` + n ``pitch_mm`` + ``shift_mm[i]`` + its waves, with
    n = ``first`` + i. ``shift_mm`` has shape (K,); ``wave_per_mm`` (radians a millimetre) and ``phase_rad`` have shape
    (K, H) and all waves the amplitude ``amplitude_mm``.
    """

    heading_deg: float
    pitch_mm: float
    width_mm: float
    offset_mm: float
    first: int
    shift_mm: Floats
    wave_per_mm: Floats
    phase_rad: Floats
    amplitude_mm: float

    def over(self, places_mm: Floats) -> Mask:
        """Which places of shape (N, 2) are passed over, shape (N,)."""
        heading = np.deg2rad(self.heading_deg)
        across = places_mm @ np.array([-np.sin(heading), np.cos(heading)]) - self.offset_mm
        if not self.amplitude_mm and not self.shift_mm.any():
            off = across - self.pitch_mm * np.round(across / self.pitch_mm)
            return np.asarray(np.abs(off) < self.width_mm / 2)
        along = places_mm @ np.array([np.cos(heading), np.sin(heading)])
        passed = np.zeros(len(places_mm), bool)
        for lane in range(len(self.shift_mm)):
            rest = np.nonzero(~passed)[0]
            off = across[rest] + self.offset_mm - self.middle_mm(lane, along[rest])
            passed[rest[np.abs(off) < self.width_mm / 2]] = True
        return passed

    def middle_mm(self, lane: int, along_mm: Floats) -> Floats:
        """Where the middle of lane ``lane`` (its place in ``shift_mm``) lies across the heading, shape as given, mm."""
        waves = np.sin(self.wave_per_mm[lane] * along_mm[..., None] + self.phase_rad[lane]).sum(axis=-1)
        return np.asarray(self.straight_middles_mm()[lane] + self.amplitude_mm * waves)

    def straight_middles_mm(self) -> Floats:
        """Where the middles of all lanes would lie across the heading if they did not stray, shape (K,), mm."""
        return self.offset_mm + (self.first + np.arange(len(self.shift_mm))) * self.pitch_mm + self.shift_mm


def drive_lanes(patch: Patch, cleaning: Cleaning, rng: np.random.Generator) -> DrivenLanes:
    """Draw how the lanes of a pass stray.

    Parameters
    ----------
    patch : Patch
        All lanes that can meet it or its margin are drawn.
    cleaning : Cleaning
        Checked by `check_spec`.
    rng : Generator
        Source of chance.

    Returns
    -------
    DrivenLanes

    Notes
    -----
    A lane's straying is a sum of sines of equal amplitude a, whose mean square over a long way is H a² / 2.
    """
    heading = np.deg2rad(cleaning.heading_deg)
    left, top, right, bottom = patch.outer_box_mm()
    corners = np.array([[left, top], [right, top], [right, bottom], [left, bottom]])
    across = corners @ np.array([-np.sin(heading), np.cos(heading)]) - cleaning.offset_mm
    amplitude = cleaning.wobble_mm * np.sqrt(2 / _WAVES)
    slack = cleaning.width_mm / 2 + _MOST_DEVIATIONS * cleaning.pitch_spread_mm + _WAVES * amplitude
    first = int(np.floor((across.min() - slack) / cleaning.pitch_mm))
    count = int(np.ceil((across.max() + slack) / cleaning.pitch_mm)) - first + 1
    deviation = np.clip(rng.standard_normal(count), -_MOST_DEVIATIONS, _MOST_DEVIATIONS)
    # Each wave from a band of its own, apart from the next: waves of nearly one length would add up for metres.
    slowest, fastest = 1 / _WAVE_MM[1], 1 / _WAVE_MM[0]
    band = np.arange(_WAVES) + rng.uniform(0.25, 0.75, (count, _WAVES))
    return DrivenLanes(
        heading_deg=cleaning.heading_deg,
        pitch_mm=cleaning.pitch_mm,
        width_mm=cleaning.width_mm,
        offset_mm=cleaning.offset_mm,
        first=first,
        shift_mm=cleaning.pitch_spread_mm * deviation,
        wave_per_mm=2 * np.pi * (slowest + (fastest - slowest) / _WAVES * band),
        phase_rad=rng.uniform(0, 2 * np.pi, (count, _WAVES)),
        amplitude_mm=float(amplitude),
    )
