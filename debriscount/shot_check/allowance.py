"""From the accuracy wanted to what a single fault may cost.

Pickup is 1 - after / before, so an area of leftovers that is wrong by a share e makes pickup wrong by e times the share
that was left.
"""

import math

from ..inputs.debris import DebrisKind
from .records import Finding, at_most

#: Share of the debris that is taken to be left: what a cleaner worth testing leaves at most (common practice, no
#: source). A machine that leaves half doubles what a fault costs.
LEFT = 0.25
#: Faults that a shot may have at once and be near the limit of each; independent ones add up in squares.
TOGETHER = 3

#: What pickup is off by in good photos with one of the clean floor, percentage points: twice the standard deviation of
#: the simulated runs of tests/benchmarks/coverage.py. No shot can promise less.
OWN_ERROR = 0.6


def own_error_finding(want_percent: float) -> Finding:
    """Judge whether the accuracy wanted can be had at all."""
    return at_most(
        "error of good photos",
        OWN_ERROR,
        "points",
        want_percent,
        "in simulated runs with a photo of the clean floor",
        f"No photo can promise less than {OWN_ERROR:g} points: want more, or take the mean of several runs.",
        "wants-too-much",
    )


def allowance_percent(want_percent: float) -> float:
    """Percentage points of pickup that one fault may cost."""
    return want_percent / math.sqrt(TOGETHER)


def allowed_area_error(want_percent: float) -> float:
    """Share by which a fault may make the area of the leftovers wrong."""
    return allowance_percent(want_percent) / (100 * LEFT)


def middle_mm(kind: DebrisKind) -> float:
    """Middle diameter of a kind's grains, mm: that of a log-normal spread between its 5th and 95th percentile."""
    return math.sqrt(kind.size_mm[0] * kind.size_mm[1])
