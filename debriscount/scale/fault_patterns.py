"""What each fault of a run does to what photo and scale say, one pattern a fault."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from .quantity import Quantity

#: Percent of a portion that nobody spills unnoticed, while a cup or bin not subtracted easily is as much.
_TARE_PERCENT = 50.0
#: Debris that was not where it should be cannot be more than all of it.
_PORTION = 100.0
#: A size that an observation itself speaks for is not bounded by any other trace.
_ANY = math.inf
#: Weight of the bin in the scale's pickup; what is swept has the rest.
BIN_WEIGHT = {"bin": 1.0, "both": 0.5, "swept": 0.0}


@dataclass(frozen=True, slots=True)
class Evidence:
    """What is known of a run beside its two pickups; None where something is not known.

    Shares are percent of what was dispensed or, by photo, of *before*, which are the same without a fault.

    Attributes
    ----------
    by : {"bin", "swept", "both"}
        Whether the scale's pickup comes from what the machine holds, from what was swept up afterwards, or lies half
        way between the two.
    unaccounted_percent : Quantity or None
        Dispensed less bin, swept and elsewhere; None unless both bin and leftovers were weighed.
    before_percent : Quantity or None
        Mass of *before* by photo over mass dispensed, 100 where they agree.
    margin_gain_percent : float or None
        What the margin gained.
    wall_gone_percent : float or None
        What the photo calls gone of the zones along walls, of all *before*; 0 without a wall.
    elsewhere_percent : float or None
        What brush, filter and wheels held when weighed.
    cover_before : float or None
        Seen cover of *before* where its debris lies, 0 to 1: the mean over debris, not over floor.
    crowding : float
        kappa that the photo's masses were corrected with.
    unseen_percent : float or None
        Detection limit of the leftovers.
    fine_percent : float or None
        Debris whose grains are too fine for the photo to show one by one.
    kind_spread_percent : float or None
        Highest less lowest pickup of the kinds by photo, points; 0 where there is one kind.
    dispensed_g : float or None
        Mass dispensed.
    cup_tared, bin_tared : bool or None
        Whether an empty cup or bin was subtracted, so that it cannot have been forgotten.
    exchanged : tuple of str
        Sentences on exchanges of readings that explain all there is, the one that fits best first.
    """

    by: Literal["bin", "swept", "both"] = "bin"
    unaccounted_percent: Quantity | None = None
    before_percent: Quantity | None = None
    margin_gain_percent: float | None = None
    wall_gone_percent: float | None = None
    elsewhere_percent: float | None = None
    cover_before: float | None = None
    crowding: float = 0.0
    unseen_percent: float | None = None
    fine_percent: float | None = None
    kind_spread_percent: float | None = None
    dispensed_g: float | None = None
    cup_tared: bool | None = None
    bin_tared: bool | None = None
    exchanged: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Pattern:
    """What one point of a fault, a percent of the portion, does to what is observed.

    ``difference`` is that of photo less scale, ``unaccounted`` that of the balance, ``before`` that of the mass of
    *before* by photo over the mass dispensed. Traces speak for sizes from ``least`` to ``most``, points; ``most`` is
    None where nothing speaks for or against any, and no larger size than ``possible`` can be. ``because`` takes the
    size times ``unit``.
    """

    name: str
    difference: float
    unaccounted: float
    before: float
    most: float | None
    because: str
    least: float = 0.0
    either_sign: bool = False
    possible: float = _PORTION
    unit: float = 1.0


def fault_patterns(photo_percent: float, evidence: Evidence) -> list[Pattern]:
    """Every fault that is looked for, as it shows in a run of this pickup, percent, and this way of weighing."""
    share = photo_percent / 100
    return [*_lost(evidence), *_portion(share, evidence), *_bin_and_sweep(evidence), *_seen_wrong(1 - share, evidence)]


def _lost(evidence: Evidence) -> Sequence[Pattern]:
    """Debris that one of photo and scale did not find where it looked."""
    by_bin = BIN_WEIGHT[evidence.by]
    margin, wall, elsewhere = evidence.margin_gain_percent, evidence.wall_gone_percent, evidence.elsewhere_percent
    unseen = [share for share in (evidence.unseen_percent, evidence.fine_percent) if share is not None]
    dust = sum(unseen) if unseen else None
    hides = "{:.1f} % of the portion lies out of the camera's sight, under furniture or the foot of a wall"
    hides += _told(" ({:.1f} % is gone from along walls by photo)", wall)
    return [
        Pattern(
            "scatter beyond the margin", by_bin, 1.0, 0.0,
            margin,  # scatter thins out with distance, so hardly more lies beyond the margin than in it
            "{:.1f} % of the portion was flung beyond the margin, where the photo takes it for picked up"
            + _told(" (the margin gained {:.1f} %)", margin),
        ),
        # No more can lie under a wall than is gone from along it. The sweep may reach it or not.
        Pattern("grains under furniture or wall", by_bin, 1.0, 0.0, wall, hides),
        Pattern("grains under furniture or wall", 1.0, 0.0, 0.0, wall, hides),
        Pattern(
            "bin residue", by_bin, 1.0, 0.0,
            elsewhere,  # what came off brush and filter speaks for as much again
            "{:.1f} % of the portion stays in bin, brush, filter or duct and was not weighed"
            + _told(" ({:.1f} % was found outside the bin)", elsewhere),
        ),
        Pattern(
            "dust the camera cannot see", 1.0, 0.0, 0.0, dust,
            "{:.1f} % of the portion is left as dust that the photo does not show"
            + _told(" (by detection limit and share of fine debris up to {:.1f} % can be)", dust),
        ),
    ]  # fmt: skip


def _portion(picked_up: float, evidence: Evidence) -> Sequence[Pattern]:
    """More or less on the patch than was weighed: bin and leftovers both change by that share of themselves."""
    difference = picked_up - (1 - BIN_WEIGHT[evidence.by])
    before = evidence.before_percent
    told = before is not None
    seen = _told(" (before weighs {:.1f} % of it by photo)", before.value if before else None)
    patterns = [
        Pattern(
            "portion not all on the patch", difference, 1.0, -1.0, _TARE_PERCENT if told else None,
            "{:.1f} % of the portion never lay on the patch: spilled, or still in the cup" + seen,
        ),
        Pattern(
            "more on the patch than was weighed", -difference, -1.0, 1.0, _ANY if told else None,
            "{:.1f} % of the portion lay on the patch beside what was weighed" + seen,
        ),
    ]  # fmt: skip
    if evidence.cup_tared:
        return patterns
    because = "{:.1f} % of what counts as dispensed is no debris, as if the empty cup had not been subtracted" + seen
    tare = Pattern(
        "forgotten tare", difference, 1.0, -1.0, _ANY if told else None, because, least=_TARE_PERCENT
    )  # fmt: skip
    return [*patterns, tare]


def _bin_and_sweep(evidence: Evidence) -> Sequence[Pattern]:
    """Faults of weighing what the machine took and what it left."""
    by_bin, missing = BIN_WEIGHT[evidence.by], evidence.unaccounted_percent
    told = missing is not None
    seen = _told(" (the balance misses {:.1f} %)", missing.value if missing else None)
    patterns = [
        Pattern(
            "bin residue", -by_bin, -1.0, 0.0, _TARE_PERCENT if told else None,
            "the bin holds {:.1f} % of the portion beyond what this run laid out: residue of earlier runs" + seen,
        ),
        Pattern(
            "leftovers not all swept up", by_bin - 1, 1.0, 0.0, _ANY if told else None,
            "{:.1f} % of the portion stayed on the floor when it was swept" + seen,
        ),
    ]  # fmt: skip
    if evidence.bin_tared:
        return patterns
    # A bin is no debris: it may weigh many times the portion.
    grams = evidence.dispensed_g
    too_much = "{:.1f} % of the portion" if grams is None else "{:.1f} g"
    tare = Pattern(
        "forgotten tare", -by_bin, -1.0, 0.0, _ANY if told else None,
        f"the bin weighs {too_much} too much, as if it had not been subtracted empty" + seen,
        least=_TARE_PERCENT, possible=math.inf, unit=1.0 if grams is None else grams / 100,
    )  # fmt: skip
    return [*patterns, tare]


def _seen_wrong(left: float, evidence: Evidence) -> Sequence[Pattern]:
    """Faults in how area becomes mass."""
    before, spread = evidence.before_percent, evidence.kind_spread_percent
    hidden, over = _crowding_range(evidence)
    cover = _told(" (seen cover {:.0f} %)", None if evidence.cover_before is None else 100 * evidence.cover_before)
    patterns = [
        Pattern(
            "crowding", -left, 0.0, -1.0, hidden,
            "grains over one another hide {:.1f} % of before beyond what crowding corrects" + cover,
        ),
        Pattern("crowding", left, 0.0, 1.0, over, "the correction for crowding adds {:.1f} % too much" + cover),
    ]  # fmt: skip
    if before is None or not spread:
        return patterns
    # Weights of two kinds that are off by a factor move their mean by at most a quarter of what sets the kinds apart.
    because = "area_mass is {:.1f} % off for this batch, which weighs the kinds wrongly"
    because += _told(" (before weighs {:.1f} % of the portion by photo)", before.value)
    return patterns + [
        Pattern("calibration of another batch", sign * spread / 400, 0.0, 1.0, _ANY, because, either_sign=True)
        for sign in (1.0, -1.0)
    ]


def _crowding_range(evidence: Evidence) -> tuple[float | None, float | None]:
    """Percent of *before* that random overlap hides beyond the correction made, and that this correction added."""
    seen = evidence.cover_before
    if seen is None:
        return None, None
    if seen < 1e-9:  # so little that nothing overlaps
        return 0.0, 0.0
    seen = min(seen, 0.99)
    used, random = _true_cover(seen, evidence.crowding), _true_cover(seen, 1.0)
    return 100 * (1 - used / random), 100 * (1 - seen / used)


def _true_cover(seen: float, kappa: float) -> float:
    """Cover q behind a seen cover p = (1 − exp(−κ q)) / κ."""
    return -math.log1p(-kappa * seen) / kappa if kappa > 1e-9 else seen


def _told(words: str, value: float | None) -> str:
    return "" if value is None else words.format(value)
