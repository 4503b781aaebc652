"""Why photo and scale differ: causes ranked by how well each explains what was seen.

A fault leaves a pattern: what it does to the difference of photo and scale, to the mass that the balance misses, and to
the mass of *before* by photo against what was dispensed (`fault_patterns`). A cause scores by the share of all this
that it explains, and by traces that speak for its size, such as what the margin gained. A cause that says of balance or
*before* what these do not show is not named, nor one that needs more debris than there was.
"""

import math
from dataclasses import dataclass

import numpy as np

from ..arrays import Floats
from ..stats.quantity import Quantity
from .fault_patterns import BIN_WEIGHT, TELLS, Evidence, FaultPattern, fault_patterns

#: Plausibility of a fault for which nothing speaks, neither for nor against.
_UNTOLD = 0.5
#: A cause that explains less than a quarter, or whose traces speak for less than a quarter of what it needs, is not
#: worth a line: it would be named beside what speaks against it.
_LEAST_SCORE = 0.25
#: Far below what anything here can tell; a smaller difference may vanish when squared.
_EQUAL_PERCENT = 1e-9


@dataclass(frozen=True, slots=True)
class Cause:
    """A likely cause. Its score, 0 to 1, ranks it among others of the same run and is no probability."""

    name: str
    score: float
    sentence: str


@dataclass(frozen=True, slots=True, eq=False)
class _Seen:
    """Observations there are: values, standard uncertainties, inverse covariance, and which of the three they are."""

    values: Floats
    u: Floats
    inverse: Floats
    told: list[int]


def rank_causes(photo: Quantity, scale: Quantity, evidence: Evidence) -> tuple[Cause, ...]:
    """Rank what may have set photo and scale apart.

    Parameters
    ----------
    photo, scale : Quantity
        Pickup, percent; not both certain.
    evidence : Evidence
        What else is known of the run.

    Returns
    -------
    tuple of Cause
        The likeliest first; empty where there is nothing to explain or nothing fits.

    Notes
    -----
    With observations y, their covariance V and a fault's pattern s, the fault's size is m = sᵀV⁻¹y / sᵀV⁻¹s, and it
    explains the share m sᵀV⁻¹y of yᵀV⁻¹y: the generalised likelihood ratio of gross-error detection [1]_. The score
    is that share, times the share of the difference that goes away with the fault, times 1 where traces speak for its
    size, less where they speak for another, and 0.5 where there are none. One fault a run is looked for. An exchange of
    readings that leaves nothing to explain comes first.

    References
    ----------
    .. [1] S. Narasimhan, R. S. H. Mah, AIChE J. 33 (1987) 1514-1521 (from memory).
    """
    seen = _observed(photo, scale, evidence)
    if float(np.abs(seen.values).max()) < _EQUAL_PERCENT:
        return ()
    best: dict[str, Cause] = {}
    for pattern in fault_patterns(photo.value, evidence):
        cause = _cause(pattern, seen)
        if cause.score >= _LEAST_SCORE and (cause.name not in best or cause.score > best[cause.name].score):
            best[cause.name] = cause
    exchanged = [Cause("exchanged readings", 1.0, sentence) for sentence in evidence.exchanged[:1]]
    return (*exchanged, *sorted(best.values(), key=lambda cause: -cause.score))


def _cause(pattern: FaultPattern, seen: _Seen) -> Cause:
    effect = np.array([pattern.difference, pattern.unaccounted, pattern.before])[seen.told]
    strength = float(effect @ seen.inverse @ effect)
    size = float(effect @ seen.inverse @ seen.values) / strength if strength > 0 else 0.0
    sentence = pattern.because.format(abs(size) * pattern.unit)
    cannot_be = size == 0 or (size < 0 and not pattern.either_sign) or abs(size) > pattern.possible
    if cannot_be or _contradicted(effect * size, seen):
        return Cause(pattern.name, 0.0, sentence)
    explained = size**2 * strength / float(seen.values @ seen.inverse @ seen.values)
    gone = _gone(float(seen.values[0]), pattern.difference * size, float(seen.u[0]))
    score = explained * gone * _plausible(abs(size), pattern)
    return Cause(pattern.name, float(min(score, 1.0)), sentence)


def _observed(photo: Quantity, scale: Quantity, evidence: Evidence) -> _Seen:
    missing, before = evidence.unaccounted_percent, evidence.before_percent
    values = np.array([
        photo.value - scale.value,
        math.nan if missing is None else missing.value,
        math.nan if before is None else before.value - 100,
    ])  # fmt: skip
    variances = [photo.u**2 + scale.u**2, missing.u**2 if missing else 0.0, before.u**2 if before else 0.0]
    covariance = np.diag(variances)
    # Pickup by scale and balance share weighings: the bin's moves both the same way, the sweep's does not.
    shared = min(scale.u**2, variances[1]) * (2 * BIN_WEIGHT[evidence.by] - 1)
    covariance[0, 1] = covariance[1, 0] = shared
    told = np.flatnonzero(np.isfinite(values)).tolist()
    return _Seen(
        values[told], np.sqrt(variances)[told], np.linalg.pinv(covariance[np.ix_(told, told)], hermitian=True), told
    )


def _gone(difference: float, by_fault: float, u: float) -> float:
    """Share of the difference that goes away with the fault; what chance may leave counts as gone."""
    left = max(abs(difference - by_fault) - TELLS * u, 0.0)
    return 1.0 if left == 0 else max(1 - left / max(abs(difference), _EQUAL_PERCENT), 0.0)


def _contradicted(effect: Floats, seen: _Seen) -> bool:
    """Whether a fault says of balance or *before* what they do not show; how far it explains pickup, its score says."""
    off = np.abs(seen.values - effect) > TELLS * seen.u
    return bool((off & (effect != 0))[1:].any())


def _plausible(size: float, pattern: FaultPattern) -> float:
    within = min(1.0, pattern.most / size) * (min(1.0, size / pattern.least) if pattern.least else 1.0)
    return within if pattern.told else _UNTOLD * within
