"""When a machine passed over places: its mouth is taken to lie along a line through its middle, across its heading."""

from bisect import bisect_left, bisect_right
from dataclasses import dataclass, field

import numpy as np

from ..arrays import Floats
from .track import GAP_S, STANDS_MM_S, track_of

#: Seconds before a stretch of the way by which its first heading is told, if the machine turns on the spot just then.
_BEFORE_S = 4.0
#: Half width of a mouth, as a share of the machine's radius: what it meets first within that is when a place changes
#: (common practice, no source: mouths are a half to three quarters as wide as machines).
_MOUTH = 2 / 3

#: Places that tell how fast the machine drives.
_LATE = 100


@dataclass(slots=True, eq=False)
class Way:
    """Where a machine's middle was seen, in order."""

    times_s: list[float] = field(default_factory=list)
    places_mm: list[tuple[float, float]] = field(default_factory=list)

    def add(self, t_s: float, x_mm: float, y_mm: float) -> None:
        """Go on to a place; times go up."""
        self.times_s.append(t_s)
        self.places_mm.append((x_mm, y_mm))

    def speed_mm_s(self) -> float | None:
        """How fast the machine drove of late, while it drove; None if it did not."""
        if len(self.times_s) < 2:
            return None
        steps = np.diff(np.array(self.places_mm[-_LATE:]), axis=0)
        speeds = np.hypot(*steps.T) / np.maximum(np.diff(self.times_s[-_LATE:]), 1e-9)
        driving = speeds[speeds >= STANDS_MM_S]
        return float(np.median(driving)) if len(driving) else None

    def passed_s(self, places_mm: Floats, since_s: float, until_s: float, radius_mm: float) -> Floats:
        """When the machine passed over places within a time, shape (N,); NaN for those that it did not pass over.

        Parameters
        ----------
        places_mm : ndarray of shape (N, 2)
        since_s, until_s : float
        radius_mm : float
            The machine's.

        Notes
        -----
        Of several times the first counts at which a place lay within the mouth, or else that at which it was nearest
        to the middle. While the machine stands, it turns steadily from the heading that it came in to that in which it
        leaves, and its mouth goes round.
        """
        first, last = bisect_left(self.times_s, since_s - _BEFORE_S), bisect_right(self.times_s, until_s)
        passed, nearest = np.full(len(places_mm), np.nan), np.full(len(places_mm), np.inf)
        if last - first < 2:
            return passed
        times, middles = np.array(self.times_s[first:last]), np.array(self.places_mm[first:last])
        toward = _toward(times, middles)
        if toward is None:
            return passed
        # Where nothing of the machine came near, most of the places need no second look.
        low, high = middles.min(axis=0) - radius_mm, middles.max(axis=0) + radius_mm
        near = np.nonzero(((places_mm >= low) & (places_mm <= high)).all(axis=1))[0]
        places, best, when = places_mm[near], nearest[near], passed[near]
        begin = max(0, bisect_right(times.tolist(), since_s) - 1)
        ahead = (places - middles[begin]) @ toward[begin]
        for k in range(begin + 1, len(times)):
            now_ahead = (places - middles[k]) @ toward[k]
            if times[k] - times[k - 1] <= GAP_S:
                met = np.nonzero((ahead * now_ahead <= 0) & (ahead != now_ahead) & (best > _MOUTH * radius_mm))[0]
                share = ahead[met] / (ahead[met] - now_ahead[met])
                at = times[k - 1] + share * (times[k] - times[k - 1])
                # What the mouth sweeps over when it goes round far away is none of the machine's.
                off = np.hypot(*(places[met] - middles[k - 1] - share[:, None] * (middles[k] - middles[k - 1])).T)
                better = (off < best[met]) & (off <= radius_mm) & (at > since_s) & (at <= until_s)
                when[met[better]], best[met[better]] = at[better], off[better]
            ahead = now_ahead
        passed[near] = when
        return passed


def _toward(times_s: Floats, middles_mm: Floats) -> Floats | None:
    """Where the machine looks at each time, shape (S, 2); None if it never drove."""
    heading = track_of(times_s, middles_mm[:, 0], middles_mm[:, 1], None).heading_deg
    known = np.isfinite(heading)
    if not known.any():
        return None
    angle = np.interp(times_s, times_s[known], np.unwrap(np.deg2rad(heading[known])))
    return np.stack([np.cos(angle), np.sin(angle)], axis=-1)
