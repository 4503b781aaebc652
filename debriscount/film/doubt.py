"""How well a curve is known at every sampled time: what is known of a film's errors, as a pickup's of photos is."""

from dataclasses import dataclass, field

import cv2
import numpy as np

from ..arrays import Floats
from ..pickup.masses import GRAINS_PER_CELL, true_cover
from ..pickup.same_grains import FEWEST, LEAST_U, USUAL
from ..pickup.uncertainty import CROWDING, MISSED
from .curve import Curve, State

#: Share of all debris that must still be untouched to say how much more or less a sample shows of the same.
_ENOUGH = 0.05
#: Share of the places that are untouched until the machine has come.
_CALM = 0.99


@dataclass(slots=True, eq=False)
class Doubts:
    """What a film's samples say of their own errors, a line a sample.

    ``shape`` is rows and columns of places, ``place_mm`` their side. Lines of ``crowded`` and ``squares`` have shape
    (R, Z): debris that others may hide, mm², and the sum of the places' squared debris, mm⁴. ``scatter`` is by how much
    of itself a place's debris differs from sample to sample though nothing touched it, ``drift`` the logarithm of how
    much more is seen of what nothing ever touched than at first. ``calm`` is how many samples there are until
    anything is touched.
    """

    shape: tuple[int, int]
    place_mm: float
    crowded: list[Floats] = field(default_factory=list)
    squares: list[Floats] = field(default_factory=list)
    scatter: list[float] = field(default_factory=list)
    drift: list[float] = field(default_factory=list)
    calm: int = 0

    def note(self, state: State) -> None:
        """Take what a sample says once the state has seen it."""
        value, zones = state.value, state.zones.T
        if self.calm == len(self.scatter) and state.untouched.mean() > _CALM:
            self.calm += 1
        self.crowded.append((value * (self._hidden_by_others(value[0]) - 1)) @ zones)
        self.squares.append((value**2) @ zones)
        self.scatter.append(state.scatter)
        same = state.untouched & (state.since == len(state.times) - 1)
        first, now = float(state.first[same].sum()), float(value[0, same].sum())
        enough = first > _ENOUGH * float(state.first.sum())
        self.drift.append(float(np.log(now / first)) if enough and now > 0 else self.drift[-1] if self.drift else 0.0)

    def _hidden_by_others(self, area_mm2: Floats) -> Floats:
        """True over seen debris of every place, if grains overlap at random; by the cover of some ten grains' floor."""
        there = area_mm2[area_mm2 > 0]
        if not len(there):
            return np.ones(len(area_mm2))
        side = np.sqrt(2 * GRAINS_PER_CELL * np.median(there)) / self.place_mm
        width = 2 * int(side / 2) + 1
        cover = np.asarray(cv2.blur((area_mm2 / self.place_mm**2).reshape(self.shape), (width, width)), float).ravel()
        return np.asarray(true_cover(cover, 1.0) / np.maximum(cover, 1e-12))


def standard_uncertainty(curve: Curve, area_mm2: Floats, first_mm2: Floats, bare_mm4: Floats, doubts: Doubts) -> Floats:
    """Standard uncertainty of the share that is left, shape (T, R, Z), as a share.

    Parameters
    ----------
    curve : Curve
    area_mm2 : ndarray of shape (T, R, Z)
        Debris at every sample, less what bare floor shows.
    first_mm2 : ndarray of shape (R, Z)
        What lay there at first.
    bare_mm4 : ndarray of shape (R, Z)
        Variance of what bare floor shows as debris.
    doubts : Doubts

    Notes
    -----
    With A the debris at a time, B that at first and L = A / B, independent sources add in squares:

    - *light*: a sample shows more or less of all debris alike, as what nothing touched says: L u.
    - *floor*: what bare floor shows is the same at all times: (1 - L) F / B.
    - *crowding*: grains hide one another, at first more than later, C of their area at random overlap; as in a pickup's
      uncertainty: (C_A - L C_B) / B times `CROWDING`.
    - *missed grains*: as there, a share of grains is missed, those that stay at both times and those that go at first:
      sqrt(MISSED ((1 - L)² S_A + L² (S_B - S_A))) / B with S the sum of squares.
    - *compression*: every sample shows every place a little otherwise: scatter times sqrt(S_A + L² S_B) / B.
    - *bridging*: hidden places change when the machine passes, half a radius earlier or later; in between all times are
      alike likely (rectangular): (late - early) / (B sqrt(12)).
    """
    first = np.maximum(first_mm2[None], 1e-9)
    left = area_mm2 / first
    squares, crowded = np.array(doubts.squares), np.array(doubts.crowded)
    scatter, drift = np.array(doubts.scatter)[:, None, None], np.array(doubts.drift)
    # A single first sample is as much as itself.
    after = (np.arange(len(left)) > 0)[:, None, None] | (doubts.calm > 1)
    light = np.hypot(LEAST_U, np.sqrt((drift**2).mean())) if len(drift) > FEWEST else USUAL
    gone = np.maximum(squares[:1] - squares, 0)
    variance = (
        after * (left * light) ** 2
        + (1 - left) ** 2 * bare_mm4 / first**2
        + (CROWDING * (crowded - left * crowded[:1]) / first) ** 2
        + MISSED * ((1 - left) ** 2 * squares + left**2 * gone) / first**2
        + after * scatter**2 * (squares + left**2 * squares[:1]) / first**2
        + (curve.late_mm2 - curve.early_mm2) ** 2 / 12 / first**2
    )
    return np.asarray(np.sqrt(variance))
