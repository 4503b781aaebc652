"""What each fault of a run does to what photo and scale say, one pattern a fault."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from ..safety import MACHINE_OFF
from ..stats.quantity import Quantity

#: Percent of a portion that somebody spills unnoticed at most, and that a vessel not subtracted weighs at least (by
#: hand: a handful, half a cup of debris).
_SPILT_PERCENT, _TARE_PERCENT = 20.0, 50.0
#: A size that no trace bounds.
_ANY = math.inf
#: Debris that was not where it should be cannot be more than all of it.
_PORTION = 100.0
#: Balance and *before* speak for or against a fault from so many standard uncertainties on, the same up to which photo
#: and scale still agree.
TELLS = 2.0
#: Weight of the bin in the scale's pickup; what is swept has the rest.
BIN_WEIGHT = {"bin": 1.0, "both": 0.5, "swept": 0.0}


@dataclass(frozen=True, slots=True, kw_only=True)
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
    cup_g, bin_g : float or None
        What cup and bin weigh when clean.
    balance_doubted : bool
        Whether the masses weighed show what a sound weighing would not.
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
    cup_g: float | None = None
    bin_g: float | None = None
    balance_doubted: bool = False
    exchanged: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class FaultPattern:
    """What one point of a fault, a percent of the portion, does to what is observed.

    ``difference`` is that of photo less scale, ``unaccounted`` that of the balance, ``before`` that of the mass of
    *before* by photo over the mass dispensed. ``told`` says whether anything speaks for the fault beside the difference
    itself. Traces allow sizes from ``least`` to ``most``, points, and no larger size than ``possible`` can be.
    ``because`` takes the size times ``unit``.
    """

    name: str
    difference: float
    unaccounted: float
    before: float
    because: str
    told: bool
    most: float = _ANY
    least: float = 0.0
    either_sign: bool = False
    possible: float = _PORTION
    unit: float = 1.0


def fault_patterns(photo_percent: float, evidence: Evidence) -> list[FaultPattern]:
    """Every fault that is looked for, as it shows in a run of this pickup, percent, and this way of weighing.

    Of faults that show the same, the more common one comes first.
    """
    share = photo_percent / 100
    return [*_lost(evidence), *_portion(share, evidence), *_bin_and_sweep(evidence), *_seen_wrong(1 - share, evidence)]


def _lost(evidence: Evidence) -> Sequence[FaultPattern]:
    """Debris that one of photo and scale did not find where it looked."""
    by_bin = BIN_WEIGHT[evidence.by]
    margin, wall, elsewhere = evidence.margin_gain_percent, evidence.wall_gone_percent, evidence.elsewhere_percent
    unseen = [share for share in (evidence.unseen_percent, evidence.fine_percent) if share is not None]
    dust = sum(unseen) if unseen else None
    hides = "{:.1f} % of the portion lies out of the camera's sight, under furniture or the foot of a wall"
    hides += _words(" ({:.1f} % is gone from along walls by photo)", wall)
    # No more can lie under a wall than is gone from along it. That speaks for nothing: most of it was picked up.
    under = {"told": False, "most": _bound(wall), "because": hides}
    return [
        FaultPattern(
            "scatter beyond the margin", by_bin, 1.0, 0.0,
            "{:.1f} % of the portion was flung beyond the margin, where the photo takes it for picked up"
            + _words(" (the margin gained {:.1f} %)", margin),
            told=margin is not None,
            most=_bound(margin),  # scatter thins out with distance, so hardly more lies beyond the margin than in it
        ),
        FaultPattern(
            "bin residue", by_bin, 1.0, 0.0,
            "{:.1f} % of the portion stays in bin, brush, filter or duct (to look there: "
            + MACHINE_OFF
            + ") and was not weighed"
            + _words(" ({:.1f} % was found outside the bin)", elsewhere),
            told=elsewhere is not None,
            most=_bound(elsewhere),  # what came off brush and filter speaks for as much again
        ),
        # The sweep may reach under a wall or not.
        FaultPattern("grains under furniture or wall", by_bin, 1.0, 0.0, **under),  # type: ignore[arg-type]
        FaultPattern("grains under furniture or wall", 1.0, 0.0, 0.0, **under),  # type: ignore[arg-type]
        FaultPattern(
            "dust the camera cannot see", 1.0, 0.0, 0.0,
            "{:.1f} % of the portion is left as dust that the photo does not show"
            + _words(" (detection limit and share of fine debris allow up to {:.1f} %)", dust),
            told=dust is not None,
            most=_bound(dust),
        ),
    ]  # fmt: skip


def _portion(picked_up: float, evidence: Evidence) -> Sequence[FaultPattern]:
    """More or less on the patch than was weighed: bin and leftovers both change by that share of themselves."""
    difference = picked_up - (1 - BIN_WEIGHT[evidence.by])
    before = evidence.before_percent
    told = _tells(before, 100.0)
    seen = _words(" (before weighs {:.1f} % of it by photo)", before.value if before else None)
    patterns = [
        FaultPattern(
            "portion not all on the patch", difference, 1.0, -1.0,
            "{:.1f} % of the portion never lay on the patch: spilled, or still in the cup" + seen,
            told=told, most=_SPILT_PERCENT,
        ),
        FaultPattern(
            "more on the patch than was weighed", -difference, -1.0, 1.0,
            "{:.1f} % of the portion lay on the patch in addition to what was weighed" + seen,
            told=told,
        ),
    ]  # fmt: skip
    if evidence.cup_tared:
        return patterns
    because = "{:.1f} % of what counts as dispensed is no debris, as if the empty cup had not been subtracted" + seen
    cup = _vessel_percent(evidence.cup_g, evidence)
    least, most = _of_vessel(cup)
    tare = FaultPattern(
        "forgotten tare", difference, 1.0, -1.0, because, told=told or cup is not None, least=least, most=most
    )  # fmt: skip
    return [tare, *patterns] if cup is not None else [*patterns, tare]


def _bin_and_sweep(evidence: Evidence) -> Sequence[FaultPattern]:
    """Faults of weighing what the machine took and what it left."""
    by_bin, missing = BIN_WEIGHT[evidence.by], evidence.unaccounted_percent
    told = _tells(missing, 0.0)
    seen = _words(" (the balance misses {:.1f} %)", missing.value if missing else None)
    patterns = [
        FaultPattern(
            "bin residue", -by_bin, -1.0, 0.0,
            "the bin holds {:.1f} % of the portion more than this run laid out: residue of earlier runs" + seen,
            told=told, most=_TARE_PERCENT,
        ),
        FaultPattern(
            "leftovers not all swept up", by_bin - 1, 1.0, 0.0,
            "{:.1f} % of the portion stayed on the floor when it was swept" + seen,
            told=told,
        ),
    ]  # fmt: skip
    if evidence.bin_tared:
        return patterns
    # A bin is no debris: it may weigh many times the portion.
    grams, vessel = evidence.dispensed_g, _vessel_percent(evidence.bin_g, evidence)
    too_much = "{:.1f} % of the portion" if grams is None else "{:.1f} g"
    least, most = _of_vessel(vessel)
    tare = FaultPattern(
        "forgotten tare", -by_bin, -1.0, 0.0,
        f"the bin weighs {too_much} too much, as if it had not been subtracted empty" + seen,
        told=told or vessel is not None,
        least=least, most=most, possible=math.inf, unit=1.0 if grams is None else grams / 100,
    )  # fmt: skip
    return [*patterns, tare]


def _seen_wrong(left: float, evidence: Evidence) -> Sequence[FaultPattern]:
    """Faults in how area becomes mass."""
    before, spread = evidence.before_percent, evidence.kind_spread_percent
    hidden, over = _crowding_range(evidence)
    cover = _words(" (seen cover {:.0f} %)", None if evidence.cover_before is None else 100 * evidence.cover_before)
    patterns = [
        FaultPattern(
            "crowding", -left, 0.0, -1.0,
            "grains on top of one another hide {:.1f} % of before, more than crowding corrects for" + cover,
            told=hidden is not None, most=_bound(hidden),
        ),
        FaultPattern(
            "crowding", left, 0.0, 1.0,
            "the correction for crowding adds {:.1f} % too much" + cover,
            told=over is not None, most=_bound(over),
        ),
    ]  # fmt: skip
    if before is None or not spread:
        return patterns
    # Weights of two kinds that are off by a factor move their mean by at most a quarter of what sets the kinds apart.
    because = "area_mass is {:.1f} % off for this batch, which weighs the kinds wrongly"
    because += _words(" (before weighs {:.1f} % of the portion by photo)", before.value)
    told = _tells(before, 100.0)
    return patterns + [
        FaultPattern(
            "calibration of another batch", sign * spread / 400, 0.0, 1.0, because, told=told, either_sign=True
        )
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


def _tells(observed: Quantity | None, expected: float) -> bool:
    """Whether an observation is beyond doubt not what it is without a fault."""
    return observed is not None and abs(observed.value - expected) > TELLS * observed.u


def _vessel_percent(vessel_g: float | None, evidence: Evidence) -> float | None:
    """What a vessel weighs, percent of what counts as dispensed."""
    if vessel_g is None or not evidence.dispensed_g or evidence.dispensed_g < 0:
        return None
    return 100 * vessel_g / evidence.dispensed_g


def _of_vessel(percent: float | None) -> tuple[float, float]:
    """Sizes that a vessel not subtracted may have: what it weighs when clean, give or take what clings to it."""
    return (_TARE_PERCENT, _ANY) if percent is None else (0.95 * percent, 1.05 * percent)


def _bound(trace: float | None) -> float:
    return _ANY if trace is None else max(trace, 0.0)


def _words(words: str, value: float | None) -> str:
    return "" if value is None else words.format(value)
