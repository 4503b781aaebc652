"""Photo against scale over many runs: whether to recalibrate, and whether later runs may go without weighing."""

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from ..arrays import Floats
from ..stats.errors_in_both import FittedLine, york
from ..stats.quantity import Quantity, chance_of
from .agreement import MOST_EXPANDED, verdict_of, zeta_score
from .drift import Drift, drift
from .method_comparison import LimitsOfAgreement, limits_of_agreement
from .odd_runs import odd_one

#: Fewer differences give no standard deviation worth the name.
FEWEST = 3
#: Runs from which on a standard deviation is known to a quarter of itself (JCGM 100, table E.1: 24 % at n = 10).
ENOUGH = 10
#: Bias, slope and drift are tested beside one another; together they give a false alarm in 5 % of cases (Bonferroni).
_CHANCE = 0.05 / 3
#: Scatter beyond what the uncertainties state, and runs that differ enough for a line.
_CHANCE_OF_SCATTER = 0.05
#: No more than one run in so many is left out as odd: more of them are scatter, and no single slip.
_ONE_IN = 4
#: What is left uncorrected lengthens the photo's uncertainty by 5 % when it is this share of it: √(1 + 1/9).
_MATTERS = 1 / 3

RunsVerdict = Literal[
    "too few runs", "recalibrate", "look into single runs", "go on weighing", "weighing may be left out"
]


@dataclass(frozen=True, slots=True, kw_only=True)
class WeighedRun:
    """One run's pickups, percent; ``day`` is any count of days, ``cause`` what likely set the two apart, if known."""

    name: str
    photo: Quantity
    scale: Quantity
    day: float | None = None
    cause: str | None = None


@dataclass(frozen=True, slots=True)
class ScatterRatio:
    """Scatter of the differences against their stated uncertainties: 1 where these are right (Birge's ratio)."""

    ratio: float
    chance: float


@dataclass(frozen=True, slots=True, kw_only=True)
class ManyRuns:
    """What many runs say together.

    ``runs`` are in order of time where every day is known, then ``drift`` is per day, otherwise per run. ``odd`` names
    runs that stand apart from all others, ``uncertain`` those too uncertain to count: both are left out of all figures
    that many runs give. ``span`` is from the first to the last that counts, in days or runs. ``slope`` is that of
    ``line``, photo against scale, its uncertainty widened where the scatter asks for it. ``alone_u`` is the standard
    uncertainty of a later pickup by photo alone, percentage points, with ``alone_dof`` degrees of freedom. A figure for
    which there are too few runs, or runs too much alike, is None.
    """

    runs: tuple[WeighedRun, ...]
    zeta: tuple[float, ...]
    dated: bool
    verdict: RunsVerdict
    sentences: tuple[str, ...]
    limits: LimitsOfAgreement | None = None
    line: FittedLine | None = None
    slope: Quantity | None = None
    drift: Drift | None = None
    scatter: ScatterRatio | None = None
    alone_u: float | None = None
    alone_dof: float | None = None
    odd: tuple[str, ...] = ()
    uncertain: tuple[str, ...] = ()
    span: float = 0.0

    @property
    def disagreeing(self) -> tuple[str, ...]:
        """Names of the runs in which photo and scale disagree."""
        return tuple(run.name for run in self.runs if verdict_of(run.photo, run.scale) == "disagree")


def judge_runs(runs: Sequence[WeighedRun]) -> ManyRuns:
    """Compare photo and scale over all weighed runs.

    Parameters
    ----------
    runs : sequence of WeighedRun
        One or more, in order of time where days are not known.

    Returns
    -------
    ManyRuns
        "recalibrate" where the mean difference, its growth with pickup or its drift is more than chance (5 % together)
        and more than a third of the photos' standard uncertainty; "look into single runs" where instead one stands
        apart from all others or the differences scatter more than the uncertainties allow; "weighing may be left out"
        from ten runs on that have neither; "go on weighing" until then. Odd runs are taken out one by one, at most a
        quarter of all, as long as the farthest is so far away by chance in less than 5 %.

    Raises
    ------
    ValueError
        There are no runs, or one has no uncertainty at all.
    """
    if not runs:
        raise ValueError("no runs to compare")
    dated = all(run.day is not None for run in runs)
    runs = sorted(runs, key=lambda run: run.day or 0.0) if dated else list(runs)
    zeta = tuple(zeta_score(r.photo.value, r.scale.value, r.photo.u, r.scale.u) for r in runs)
    uncertain = tuple(run.name for run in runs if verdict_of(run.photo, run.scale) == "too uncertain")
    counted = [run for run in runs if run.name not in uncertain]
    if len(counted) < FEWEST:
        few = f"It takes {FEWEST} runs to say anything about all of them; here {_are(len(counted))}."
        return ManyRuns(
            runs=tuple(runs),
            zeta=zeta,
            dated=dated,
            verdict="too few runs",
            sentences=(few, *_left_out(runs, uncertain)),
            uncertain=uncertain,
        )
    counted, odd = _without_odd(counted)
    found = _judge(counted, bool(odd), dated)
    return replace(
        found,
        runs=tuple(runs),
        zeta=zeta,
        sentences=(*(sentence for _, sentence in odd), *found.sentences, *_left_out(runs, uncertain)),
        odd=tuple(run.name for run, _ in odd),
        uncertain=uncertain,
    )


def _without_odd(runs: list[WeighedRun]) -> tuple[list[WeighedRun], list[tuple[WeighedRun, str]]]:
    """Return the runs that belong together, and those that do not with a sentence each."""
    odd: list[tuple[WeighedRun, str]] = []
    most = len(runs) // _ONE_IN
    while len(odd) < most and len(runs) > FEWEST:
        photo, scale, u_photo, u_scale = _columns(runs)
        found = odd_one(photo - scale, np.hypot(u_photo, u_scale))
        if found is None or found.chance >= _CHANCE_OF_SCATTER:
            break
        run = runs[found.index]
        others, often = found.others.value, "less than 0.1" if found.chance < 1e-3 else f"{100 * found.chance:.1g}"
        likely = f" (most likely {run.cause})" if run.cause else ""
        sentence = (
            f"{run.name} stands apart: there the photo reads {_more(run.photo.value - run.scale.value)} than the "
            f"scale, in the others {_more(others)} (by chance this happens in {often} % of cases). Look into that run, "
            f"its weighing first{likely}; what follows is without it."
        )
        odd.append((run, sentence))
        runs = [other for other in runs if other is not run]
    return runs, odd


def _left_out(runs: Sequence[WeighedRun], uncertain: tuple[str, ...]) -> tuple[str, ...]:
    """Name the runs that are too uncertain, and those of them whose weighing is at fault rather than the photo."""
    if not uncertain:
        return ()
    out = (
        f"Not counted, since photo and scale may differ by more than {MOST_EXPANDED:g} points by chance alone: "
        f"{', '.join(uncertain)}."
    )
    weighed = [run for run in runs if run.name in uncertain and run.scale.u > run.photo.u]
    if not weighed:
        return (out,)
    named = ", ".join(run.name + (f" (most likely {run.cause})" if run.cause else "") for run in weighed)
    return out, f"There the weighing is the uncertain one, which no calibration cures: look into that of {named}."


def _judge(runs: list[WeighedRun], odd: bool, dated: bool) -> ManyRuns:
    """Figures of runs that belong together; ``odd`` says that others were taken out."""
    photo, scale, u_photo, u_scale = _columns(runs)
    difference, u = photo - scale, np.hypot(u_photo, u_scale)
    limits = limits_of_agreement(photo, scale)
    line, slope = _line(photo, scale, u_photo, u_scale)
    times = np.array([run.day for run in runs], float) if dated else np.arange(len(runs), dtype=float)
    span = float(times[-1] - times[0])
    drifting = drift(times, difference, u) if span > 0 else None
    scatter = _scatter(difference, u)
    matters = _MATTERS * float(np.sqrt((u_photo**2).mean()))
    reasons = _reasons(limits, slope, float(np.ptp(scale)), drifting, span, matters)
    verdict = _verdict(len(runs), reasons, scatter, odd)
    sentences = (_summary(limits), *_advice(verdict, reasons, runs, scatter))
    figures = ManyRuns(
        runs=tuple(runs),
        zeta=(),
        dated=dated,
        verdict=verdict,
        sentences=sentences,
        limits=limits,
        line=line,
        slope=slope,
        drift=drifting,
        scatter=scatter,
        span=span,
    )
    if verdict != "weighing may be left out":
        return figures
    alone_u, alone_dof = _alone(limits, u_photo, u_scale)
    said = (*sentences, _alone_sentence(alone_u, alone_dof))
    return replace(figures, alone_u=alone_u, alone_dof=alone_dof, sentences=said)


def _columns(runs: Sequence[WeighedRun]) -> Floats:
    return np.array([(run.photo.value, run.scale.value, run.photo.u, run.scale.u) for run in runs]).T


def _line(photo: Floats, scale: Floats, u_photo: Floats, u_scale: Floats) -> tuple[FittedLine | None, Quantity | None]:
    """Line of photo against scale, where the runs' pickups differ by more than their uncertainties."""
    spread = _scatter(scale, np.hypot(u_photo, u_scale))
    if spread.chance > _CHANCE_OF_SCATTER:
        return None, None
    try:
        line = york(scale, photo, u_scale, u_photo)
    except ValueError:  # no slope can be told after all
        return None, None
    ratio = math.sqrt((line.chi2 or 0.0) / line.dof)
    wide = ratio > 1
    return line, Quantity(line.slope, line.u_slope * max(ratio, 1.0), line.dof if wide else math.inf)


def _scatter(values: Floats, u: Floats) -> ScatterRatio:
    """Scatter about the weighted mean against stated uncertainties, with the chance of as much or more."""
    from scipy.special import chdtrc

    dof = len(values) - 1
    chi2 = float((((values - np.average(values, weights=1 / u**2)) / u) ** 2).sum())
    return ScatterRatio(math.sqrt(chi2 / dof), float(chdtrc(dof, chi2)))


def _alone(limits: LimitsOfAgreement, u_photo: Floats, u_scale: Floats) -> tuple[float, float]:
    """Standard uncertainty of a pickup by photo alone, points, with its degrees of freedom.

    The photo's own variance is what it states or, where that is more, what the differences show beyond the scale's.
    To it come the mean difference, which is not corrected for, and how well that is known. Degrees of freedom by
    Welch and Satterthwaite (JCGM 100, G.4.1).
    """
    variance, stated = limits.sd**2, float((u_photo**2).mean())
    shown = variance - float((u_scale**2).mean())
    total = max(shown, stated) + limits.bias.value**2 + variance / limits.n
    share = (shown > stated) + 1 / limits.n  # of the total, what hangs on the scatter seen
    dof = (limits.n - 1) * (total / (share * variance)) ** 2 if variance > 0 else math.inf
    return math.sqrt(total), dof


def _reasons(
    limits: LimitsOfAgreement, slope: Quantity | None, width: float, drifting: Drift | None, span: float, matters: float
) -> list[str]:
    """Say what a new calibration would have to cure."""
    reasons = []
    bias = limits.bias
    if chance_of(bias) < _CHANCE and abs(bias.value) > matters:
        reasons.append(f"the photo reads {_more(bias.value)} than the scale")
    if slope is not None and chance_of(slope, 1.0) < _CHANCE and abs(slope.value - 1) * width / 2 > matters:
        low, high = slope.interval95()
        reasons.append(
            f"the difference changes with pickup (slope {slope.value:.2f}, 95 % interval {low:.2f} to {high:.2f})"
        )
    if drifting is not None and drifting.chance < _CHANCE and abs(drifting.slope.value) * span > matters:
        reasons.append(f"from first to last run the photo came to read {_more(drifting.slope.value * span)}")
    return reasons


def _verdict(n: int, reasons: list[str], scatter: ScatterRatio, odd: bool) -> RunsVerdict:
    if reasons:
        return "recalibrate"
    if odd or scatter.chance < _CHANCE_OF_SCATTER:
        return "look into single runs"
    return "go on weighing" if n < ENOUGH else "weighing may be left out"


def _summary(limits: LimitsOfAgreement) -> str:
    low, high = limits.bias.interval95()
    return (
        f"{limits.n} runs: on average photo less scale is {limits.bias.value:+.2f} points (95 % interval {low:+.2f} to "
        f"{high:+.2f}); of later runs, 95 % are expected between {limits.lower.value:+.1f} and "
        f"{limits.upper.value:+.1f}."
    )


def _advice(verdict: RunsVerdict, reasons: list[str], runs: list[WeighedRun], scatter: ScatterRatio) -> list[str]:
    if verdict == "recalibrate":
        return [f"Recalibrate with new portions: {'; '.join(reasons)}.", *_common_cause(runs)]
    if scatter.chance < _CHANCE_OF_SCATTER:
        return [
            f"No reason to recalibrate, but the differences scatter {scatter.ratio:.1f} times as much as their "
            "uncertainties say: look into the runs that disagree.",
            *_common_cause(runs),
        ]
    said = f"No reason to recalibrate. The {len(runs)} runs agree as well as they should"
    if verdict == "look into single runs":
        return [f"{said}."]
    then = f"go on weighing up to {ENOUGH}" if verdict == "go on weighing" else "later ones may go without weighing"
    return [f"{said}; {then}."]


def _alone_sentence(alone_u: float, alone_dof: float) -> str:
    half = Quantity(0.0, alone_u, alone_dof).expanded95
    return (
        f"A pickup by photo alone is then right within {half:.1f} points in 95 of 100 runs, as long as floor, debris "
        "and camera stay the same."
    )


def _common_cause(runs: list[WeighedRun]) -> list[str]:
    """Name the likeliest cause, where two or more runs share it."""
    counted = Counter(run.cause for run in runs if run.cause).most_common(1)
    if not counted or counted[0][1] < 2:
        return []
    cause, times = counted[0]
    return [
        f"In {times} of them the likeliest cause is {cause}; a new calibration helps only against crowding and "
        "area_mass."
    ]


def _more(points: float) -> str:
    return f"{abs(points):.1f} points {'more' if points > 0 else 'less'}"


def _are(number: int) -> str:
    return "is 1" if number == 1 else f"are {number}"
