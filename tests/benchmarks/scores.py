"""Measured beside true: scores of a scene, their summary, and the bars it must clear."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from statistics import median

#: What `accuracy.py` demands: at most this much, for each line of the summary. Errors of pickup are in percentage
#: points, of counts in percent.
BARS: dict[str, dict[str, float]] = {
    "now": {
        "scenes failed": 0,
        "markers missed": 0,
        "patch by area, median": 1.0,
        "patch by area, worst": 4.0,
    },
    "strict": {
        "scenes failed": 0,
        "markers missed": 0,
        "patch by area, median": 0.4,
        "patch by area, worst": 1.5,
        "patch by mass, median": 0.6,
        "patch by mass, worst": 2.0,
        "edge and corner, median": 1.0,
        "edge and corner, worst": 4.0,
        "counts, median": 2.0,
        "counts, worst": 6.0,
    },
}

#: An edge or corner enters the summary when it held this many grains, a count when there were as many to count:
#: below, a single grain is worth more than 2 %.
FEW_GRAINS = 50
#: Counts enter the summary where the middle grain is at least this wide in the floor view, px.
COUNTABLE_PX = 6.0


@dataclass(frozen=True, slots=True)
class ZoneScore:
    """Pickup of a zone after a pass, percent; None where it is not known."""

    number: int
    zone: str
    true_grains: int
    area: float | None
    true_area: float | None
    mass: float | None
    true_mass: float | None
    interval95: tuple[float, float] | None = None

    @property
    def held(self) -> bool | None:
        """Whether the 95 % interval holds the true pickup by area; None where there is none."""
        return None if self.interval95 is None or self.true_area is None else self.missed_by == 0

    @property
    def missed_by(self) -> float:
        """By how many of its own widths the interval misses the truth; 0 where it holds it or there is none."""
        if self.interval95 is None or self.true_area is None:
            return 0.0
        low, high = self.interval95
        # Nothing at all picked up or left is measured without error, but for rounding.
        beyond = max(low - self.true_area, self.true_area - high, 0.0)
        return 0.0 if beyond < 1e-6 else beyond / max(high - low, 1e-6)

    @property
    def area_error(self) -> float | None:
        """Measured less true, by area, percentage points."""
        return _error(self.area, self.true_area)

    @property
    def mass_error(self) -> float | None:
        """Measured less true, by mass, percentage points."""
        return _error(self.mass, self.true_mass)


@dataclass(frozen=True, slots=True)
class ShotScore:
    """What one shot shows in the patch."""

    shot: str
    grains: int
    true_grains: int
    area_mm2: float
    true_area_mm2: float
    grains_told: bool = True


@dataclass(frozen=True, slots=True)
class SceneScore:
    """One scene; ``failure`` says why it has no figures, ``untouched`` holds that share measured and true, by pass."""

    scene: str
    seconds: float
    kinds: int = 0
    grain_px: float = 0.0
    markers_missed: tuple[str, ...] = ()
    zones: tuple[ZoneScore, ...] = ()
    shots: tuple[ShotScore, ...] = ()
    failure: str | None = None
    warnings: tuple[str, ...] = field(default=())
    untouched: tuple[tuple[float | None, float], ...] = ()


def _error(measured: float | None, true: float | None) -> float | None:
    if true is None:
        return None
    return math.inf if measured is None else measured - true


def summarise(scores: Sequence[SceneScore]) -> dict[str, float | None]:
    """Lines of the summary by name; None where nothing in the scenes bears on a line."""
    zones = [z for score in scores for z in score.zones]
    single = [z for score in scores if score.kinds == 1 for z in score.zones]
    walls = [z for z in zones if z.zone in ("edge", "corner") and z.true_grains >= FEW_GRAINS]
    summary: dict[str, float | None] = {
        "scenes failed": sum(score.failure is not None for score in scores),
        "markers missed": sum(len(score.markers_missed) for score in scores),
    }
    lines: dict[str, list[float | None]] = {
        "patch by area": [z.area_error for z in zones if z.zone == "patch"],
        "patch by mass": [z.mass_error for z in single if z.zone == "patch"],
        "edge and corner": [z.area_error for z in walls],
        "counts": [
            100 * (shot.grains / shot.true_grains - 1)
            for score in scores
            if score.grain_px >= COUNTABLE_PX
            for shot in score.shots
            if shot.true_grains >= FEW_GRAINS
        ],
    }
    for line, errors in lines.items():
        sizes = [abs(e) for e in errors if e is not None]
        summary[f"{line}, median"] = median(sizes) if sizes else None
        summary[f"{line}, worst"] = max(sizes) if sizes else None
    ratios = [s.area_mm2 / s.true_area_mm2 for score in scores for s in score.shots if s.shot == "before"]
    summary["area before over true, median"] = median(ratios) if ratios else None
    summary["area before over true, lowest"] = min(ratios, default=None)
    summary["area before over true, highest"] = max(ratios, default=None)
    return summary


def missed_bars(summary: Mapping[str, float | None], bars: Mapping[str, float]) -> list[str]:
    """Lines of the summary above their bar; a line without a value misses nothing."""
    return [line for line, bar in bars.items() if (value := summary[line]) is not None and value > bar]
