"""What the check of a shot says."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

#: Accuracy that is wanted unless another is asked for, percentage points of pickup.
USUAL_WANT = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One thing that was looked at.

    ``value`` is None where it cannot be known, ``limit`` where there is none; ``least`` says that the value must reach
    the limit rather than stay below it. ``reason`` says where the limit comes from, ``advice`` what to do about a value
    beyond it. A finding that is no fault of the shot but should be read all the same has ``advice`` and is ``fit``.
    ``code`` is a fixed word for what a value beyond its limit means, as "blurred"; empty where there is no limit.
    """

    name: str
    value: float | None
    unit: str
    limit: float | None
    least: bool
    fit: bool
    reason: str
    advice: str = ""
    code: str = ""

    @property
    def excess(self) -> float:
        """How many times beyond its limit the value is; 1 and less where it is fit, infinite where it is unknown."""
        if self.value is None or self.limit is None:
            return 1.0 if self.fit else math.inf
        more, less = (self.limit, self.value) if self.least else (self.value, self.limit)
        return more / less if less > 0 else math.inf

    @property
    def sentence(self) -> str:
        """The value beside its limit, and what to do."""
        if self.value is None or self.limit is None:
            return self.advice
        bound = "at least" if self.least else "at most"
        return f"{self.name} {self.value:.3g} {self.unit}, {bound} {self.limit:.3g} will do. {self.advice}"


def at_most(name: str, value: float, unit: str, limit: float, reason: str, advice: str, code: str = "") -> Finding:
    """Make a finding whose value must not be above its limit; ``advice`` is kept for a value that is."""
    fit = value <= limit
    return Finding(
        name=name,
        value=value,
        unit=unit,
        limit=limit,
        least=False,
        fit=fit,
        reason=reason,
        advice="" if fit else advice,
        code=code,
    )


def at_least(name: str, value: float, unit: str, limit: float, reason: str, advice: str, code: str = "") -> Finding:
    """Make a finding whose value must reach its limit; ``advice`` is kept for a value that does not."""
    fit = value >= limit
    return Finding(
        name=name,
        value=value,
        unit=unit,
        limit=limit,
        least=True,
        fit=fit,
        reason=reason,
        advice="" if fit else advice,
        code=code,
    )


def told(name: str, value: float | None, unit: str, reason: str, advice: str = "") -> Finding:
    """Make a finding without a limit: something worth knowing that decides nothing."""
    return Finding(name=name, value=value, unit=unit, limit=None, least=False, fit=True, reason=reason, advice=advice)


@dataclass(frozen=True, slots=True)
class Fitness:
    """Everything found about one shot.

    ``file`` is the photo's name, ``against`` that of the shot it was held against or empty; ``want_percent`` the
    accuracy wanted, percentage points of pickup.
    """

    file: str
    against: str
    want_percent: float
    findings: Sequence[Finding]

    @property
    def fit(self) -> bool:
        """Whether the shot will do."""
        return all(finding.fit for finding in self.findings)

    @property
    def faults(self) -> tuple[Finding, ...]:
        """What is beyond its limit."""
        return tuple(finding for finding in self.findings if not finding.fit)
