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
    """Debris by time, row and zone, mm²: row 0 is all of it, further rows are the kinds if there are several.

    ``times_s`` has shape (T,), the others (T, R, Z): ``area_mm2`` with hidden places bridged; ``low_mm2`` and
    ``high_mm2`` with all that is hidden as it was last seen or as it was next seen, whichever is less or more;
    ``early_mm2`` and ``late_mm2`` with what is hidden changed as early or as late as it may have. ``hidden_share`` of
    shape (T,) is how much of the patch was hidden.
    """

    times_s: Floats
    area_mm2: Floats
    low_mm2: Floats
    high_mm2: Floats
    early_mm2: Floats
    late_mm2: Floats
    hidden_share: Floats


@dataclass(slots=True, eq=False)
class State:
    """What is known of every place while a film goes on; memory grows by a line a sample alone.

    ``zones`` of shape (Z, N) tells which of the N places each zone holds, ``patch`` which of them lie in the patch;
    ``rows`` is how many rows of debris are told apart.
    A place has ``value`` of shape (R, N), the debris last seen there in mm², since sample ``since``, -1 before it was
    seen at all. ``fell_s`` and ``fell_mm2`` are when it lost most at once, and how much. ``usual`` is what it showed on
    average since the machine was there last, in ``kept`` samples at most. ``first`` is what it showed at first, while
    it is ``untouched``. ``scatter`` is by how much of itself the last sample showed what nothing touched otherwise.
    """

    zones: Mask
    patch: Mask
    rows: int = 1
    value: Floats = field(init=False)
    since: NDArray[np.int64] = field(init=False)
    fell_s: Floats = field(init=False)
    fell_mm2: Floats = field(init=False)
    usual: Floats = field(init=False)
    kept: NDArray[np.int64] = field(init=False)
    first: Floats = field(init=False)
    untouched: Mask = field(init=False)
    scatter: float = 0.0
    times: list[float] = field(default_factory=list)
    lines: list[Floats] = field(default_factory=list)
    hidden: list[float] = field(default_factory=list)

    def __post_init__(self) -> None:
        """Begin with nothing seen."""
        count = self.zones.shape[1]
        self.value, self.usual = np.zeros((self.rows, count)), np.zeros(count)
        self.kept = np.zeros(count, np.int64)
        self.first, self.untouched = np.zeros(count), np.ones(count, bool)
        self.since = np.full(count, -1)
        self.fell_s, self.fell_mm2 = np.full(count, np.nan), np.zeros(count)

    def see(self, t_s: float, areas_mm2: Floats, seen: Mask, passed: Passed, slack_s: float = 0.0) -> None:
        """Take one sample.

        Parameters
        ----------
        t_s : float
            Its time, later than the last one's.
        areas_mm2 : ndarray of shape (R, N)
            Debris in every place that is seen, mm².
        seen : ndarray of bool, shape (N,)
            False for places that are hidden.
        passed : callable
            Tells when the machine passed over places, by number, since when and until when; NaN if it did not.
        slack_s : float
            How much earlier or later than that a place may have changed.
        """
        now = len(self.times)
        passed_s = self._passed(seen, now, t_s, passed)
        areas_mm2 = areas_mm2 / self._sharpness(areas_mm2[0], seen, passed_s)
        self.times.append(t_s)
        self.lines.append(np.repeat((areas_mm2[:, seen] @ self.zones[:, seen].T)[None], 5, axis=0))
        self.hidden.append(float((self.patch & ~seen).sum() / max(int(self.patch.sum()), 1)))
        back = np.nonzero(seen & (self.since < now - 1))[0]
        self._bridge(back, areas_mm2, now, t_s, passed_s, slack_s)
        touched = seen & ((self.since < self._shown) | np.isfinite(passed_s))
        self.untouched &= ~touched
        begun = seen & (self.since < 0)
        self.first[begun] = areas_mm2[0, begun]
        lost = np.where(self.since >= 0, self.value[0] - areas_mm2[0], 0.0)
        fell = seen & (lost > self.fell_mm2)
        self.fell_mm2[fell] = lost[fell]
        self.fell_s[fell] = np.where(np.isfinite(passed_s[fell]), passed_s[fell], t_s)
        self.kept = np.where(touched, 1, np.minimum(self.kept + seen, _KEPT))
        self.usual += np.where(seen, (areas_mm2[0] - self.usual) / np.maximum(self.kept, 1), 0.0)
        self.value[:, seen], self.since[seen] = areas_mm2[:, seen], now

    @property
    def _shown(self) -> int:
        """The last sample that showed anything: while the camera shakes none does, and nothing is touched by that."""
        return int(self.since.max(initial=-1))

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
        still = seen & (self.since >= 0) & (self.since == self._shown) & np.isnan(passed_s)
        # Where it changed by more than a frame's compression does, something came or went.
        still &= np.abs(areas_mm2 - self.usual) < _CHANGED * self.usual + _CHANGED_MM2
        off, whole = areas_mm2[still] - self.usual[still], self.usual[still]
        self.scatter = float(np.sqrt((off**2).sum() / max(float((whole**2).sum()), 1e-9)))
        # What a few grains show says less than that a frame is like the one before.
        steady = _STEADY * max(float(self.value[0].sum()), 1e-9)
        return float((areas_mm2[still].sum() + steady) / (self.usual[still].sum() + steady))

    def _bridge(
        self, places: NDArray[np.intp], areas_mm2: Floats, now: int, t_s: float, passed_s: Floats, slack_s: float
    ) -> None:
        """Add what lay in places while they were hidden, to the samples since each was last seen."""
        for last in np.unique(self.since[places]):
            those = places[self.since[places] == last]
            end = areas_mm2[:, those]
            start = self.value[:, those] if last >= 0 else end
            passed = passed_s[those]
            begin = self.times[last] if last >= 0 else t_s
            for k in range(int(last) + 1, now):
                # All at once where the machine passed; steadily where nothing tells when.
                t, known = self.times[k], np.isfinite(passed)
                between = np.where(known, t >= passed, (t - begin) / max(t_s - begin, 1e-9))
                early, late = np.where(known, t >= passed - slack_s, 1), np.where(known, t >= passed + slack_s, 0)
                self._add(k, those, start, end, (between, early, late))

    def _add(
        self, k: int, those: NDArray[np.intp], start: Floats, end: Floats, gone: tuple[Floats, Floats, Floats]
    ) -> None:
        """Add hidden places to a line, gone from start to end so far by one time, an early one and a late one."""
        value, early, late = (start + (end - start) * far for far in gone)
        zones = self.zones[:, those].T
        for number, part in enumerate((value, np.minimum(start, end), np.maximum(start, end), early, late)):
            self.lines[k][number] += part @ zones

    def curve(self) -> Curve:
        """What was seen, with places that stay hidden to the end as they were last seen. Call it once."""
        end = len(self.times)
        left = np.nonzero((self.since >= 0) & (self.since < end - 1))[0]
        for last in np.unique(self.since[left]):
            those = left[self.since[left] == last]
            start, stays, goes = self.value[:, those], np.zeros(len(those)), np.ones(len(those))
            for k in range(int(last) + 1, end):
                self._add(k, those, start, np.zeros_like(start), (stays, goes, stays))
        lines = np.array(self.lines).reshape(end, 5, self.rows, len(self.zones))
        return Curve(
            times_s=np.array(self.times),
            area_mm2=lines[:, 0],
            low_mm2=lines[:, 1],
            high_mm2=lines[:, 2],
            early_mm2=lines[:, 3],
            late_mm2=lines[:, 4],
            hidden_share=np.array(self.hidden),
        )
