"""Debris left against time: what is seen is counted, and what is hidden is bridged from before and after."""

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from ..arrays import Floats, Mask

Passed = Callable[[NDArray[np.intp], float, float], Floats]
#: Share of all debris seen that stands against what the untouched places say of a sample; and samples over which their
#: usual amount is told.
_STEADY, _KEPT = 0.02, 20
#: Change of a place's debris beyond which it was touched, as a share of what it shows and in mm².
_CHANGED, _CHANGED_MM2 = 0.3, 2.0


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Curve:
    """Debris by time and zone, mm².

    ``times_s`` has shape (T,); ``area_mm2``, ``low_mm2`` and ``high_mm2`` have shape (T, Z): hidden places bridged, and
    with all that is hidden as it was last seen or as it was next seen, whichever is less or more. ``hidden_share`` of
    shape (T,) is how much of the patch was hidden.
    """

    times_s: Floats
    area_mm2: Floats
    low_mm2: Floats
    high_mm2: Floats
    hidden_share: Floats


@dataclass(slots=True, eq=False)
class State:
    """What is known of every place while a film goes on; memory grows by a line a sample alone.

    ``zones`` of shape (Z, N) tells which of the N places each zone holds, ``patch`` which of them lie in the patch.
    A place has ``value``, the debris last seen there in mm², since sample ``since``, -1 before it was seen at all.
    ``fell_s`` and ``fell_mm2`` are when it lost most at once, and how much. ``usual`` is what it showed on average
    since the machine was there last, in ``kept`` samples at most.
    """

    zones: Mask
    patch: Mask
    value: Floats = field(init=False)
    since: NDArray[np.int64] = field(init=False)
    fell_s: Floats = field(init=False)
    fell_mm2: Floats = field(init=False)
    usual: Floats = field(init=False)
    kept: NDArray[np.int64] = field(init=False)
    times: list[float] = field(default_factory=list)
    sums: list[Floats] = field(default_factory=list)
    lows: list[Floats] = field(default_factory=list)
    highs: list[Floats] = field(default_factory=list)
    hidden: list[float] = field(default_factory=list)

    def __post_init__(self) -> None:
        """Begin with nothing seen."""
        count = self.zones.shape[1]
        self.value, self.usual = np.zeros(count), np.zeros(count)
        self.kept = np.zeros(count, np.int64)
        self.since = np.full(count, -1)
        self.fell_s, self.fell_mm2 = np.full(count, np.nan), np.zeros(count)

    def see(self, t_s: float, areas_mm2: Floats, seen: Mask, passed: Passed) -> None:
        """Take one sample.

        Parameters
        ----------
        t_s : float
            Its time, later than the last one's.
        areas_mm2 : ndarray of shape (N,)
            Debris in every place that is seen, mm².
        seen : ndarray of bool, shape (N,)
            False for places that are hidden.
        passed : callable
            Tells when the machine passed over places, by number, since when and until when; NaN if it did not.
        """
        now = len(self.times)
        passed_s = self._passed(seen, now, t_s, passed)
        areas_mm2 = areas_mm2 / self._sharpness(areas_mm2, seen, passed_s)
        self.times.append(t_s)
        self.sums.append(self.zones[:, seen] @ areas_mm2[seen])
        self.lows.append(self.sums[-1].copy())
        self.highs.append(self.sums[-1].copy())
        self.hidden.append(float((self.patch & ~seen).sum() / max(int(self.patch.sum()), 1)))
        touched = seen & ((self.since < now - 1) | np.isfinite(passed_s))
        back = np.nonzero(seen & (self.since < now - 1))[0]
        self._bridge(back, areas_mm2, now, t_s, passed_s)
        lost = np.where(self.since >= 0, self.value - areas_mm2, 0.0)
        fell = seen & (lost > self.fell_mm2)
        self.fell_mm2[fell] = lost[fell]
        self.fell_s[fell] = np.where(np.isfinite(passed_s[fell]), passed_s[fell], t_s)
        self.kept = np.where(touched, 1, np.minimum(self.kept + seen, _KEPT))
        self.usual += np.where(seen, (areas_mm2 - self.usual) / np.maximum(self.kept, 1), 0.0)
        self.value[seen], self.since[seen] = areas_mm2[seen], now

    def _passed(self, seen: Mask, now: int, t_s: float, passed: Passed) -> Floats:
        """When the machine passed over each place that is seen, since it was seen last; NaN if it did not."""
        passed_s = np.full(len(seen), np.nan)
        for last in np.unique(self.since[seen]) if now else ():
            those = np.nonzero(seen & (self.since == last))[0]
            passed_s[those] = passed(those, self.times[max(int(last), 0)], t_s)
        return passed_s

    def _sharpness(self, areas_mm2: Floats, seen: Mask, passed_s: Floats) -> float:
        """How much more a sample shows of debris that nothing has touched than the samples before it.

        Films are compressed frame by frame to another degree, and a blurred grain shows a little more or less.
        """
        still = seen & (self.since >= 0) & (self.since == len(self.times) - 1) & np.isnan(passed_s)
        # Where it changed by more than a frame's compression does, something came or went.
        still &= np.abs(areas_mm2 - self.usual) < _CHANGED * self.usual + _CHANGED_MM2
        # What a few grains show says less than that a frame is like the one before.
        steady = _STEADY * max(float(self.value.sum()), 1e-9)
        return float((areas_mm2[still].sum() + steady) / (self.usual[still].sum() + steady))

    def _bridge(self, places: NDArray[np.intp], areas_mm2: Floats, now: int, t_s: float, passed_s: Floats) -> None:
        """Add what lay in places while they were hidden, to the samples since each was last seen."""
        for last in np.unique(self.since[places]):
            those = places[self.since[places] == last]
            end = areas_mm2[those]
            start = self.value[those] if last >= 0 else end
            passed = passed_s[those]
            for k in range(int(last) + 1, now):
                between = self._between(k, int(last), t_s, passed)
                self._add(k, those, start + (end - start) * between, start, end)

    def _between(self, k: int, last: int, t_s: float, passed_s: Floats) -> Floats:
        """How far each place has gone from what it was to what it is, 0 to 1, at sample ``k``.

        All at once where the machine passed; steadily where nothing tells when.
        """
        begin = self.times[last] if last >= 0 else t_s
        steady = (self.times[k] - begin) / max(t_s - begin, 1e-9)
        return np.where(np.isfinite(passed_s), self.times[k] >= passed_s, steady)

    def _add(self, k: int, those: NDArray[np.intp], value: Floats, start: Floats, end: Floats) -> None:
        zones = self.zones[:, those]
        self.sums[k] = self.sums[k] + zones @ value
        self.lows[k] = self.lows[k] + zones @ np.minimum(start, end)
        self.highs[k] = self.highs[k] + zones @ np.maximum(start, end)

    def curve(self) -> Curve:
        """What was seen, with places that stay hidden to the end as they were last seen. Call it once."""
        end = len(self.times)
        left = np.nonzero((self.since >= 0) & (self.since < end - 1))[0]
        for last in np.unique(self.since[left]):
            those = left[self.since[left] == last]
            for k in range(int(last) + 1, end):
                self._add(k, those, self.value[those], np.zeros(len(those)), self.value[those])
        zones = len(self.zones)
        return Curve(
            times_s=np.array(self.times),
            area_mm2=np.array(self.sums).reshape(end, zones),
            low_mm2=np.array(self.lows).reshape(end, zones),
            high_mm2=np.array(self.highs).reshape(end, zones),
            hidden_share=np.array(self.hidden),
        )
