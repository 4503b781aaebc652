"""Whether photo and scale agree on one run's pickup, and in plain words."""

import math
from dataclasses import dataclass
from typing import Literal

from ..pickup.trust import WIDEST
from ..stats.quantity import Quantity, decimals_beside, fixed_text, plus_minus
from .causes import Cause, rank_causes
from .fault_patterns import Evidence

#: Coverage factor of expanded uncertainties, as ISO 13528 and ISO/IEC 17043 take it for E_n; about 95 %.
COVERAGE = 2.0
#: |zeta| up to which results are acceptable, and from which on action is called for (ISO 13528:2022, 9.4 and 9.6).
ACCEPTABLE, ACTION = 2.0, 3.0

#: Expanded uncertainty of the difference, points, beyond which agreement says nothing: a check is worth its name if a
#: photo that is off by 15 points "disagrees" in 39 cases of 40. That takes 3 + 2 standard uncertainties.
MOST_EXPANDED = COVERAGE * WIDEST / (ACTION + COVERAGE)

Verdict = Literal["agree", "too uncertain", "doubtful", "disagree"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Agreement:
    """Photo against scale in one run.

    Pickups and their standard uncertainties are in percent. ``en`` and ``zeta`` are positive where the photo reads
    more. ``causes`` is empty where nothing wants explaining or nothing else is known of the run.
    """

    photo_percent: float
    photo_u: float
    scale_percent: float
    scale_u: float
    en: float
    zeta: float
    verdict: Verdict
    sentence: str
    causes: tuple[Cause, ...] = ()


def agree(photo: Quantity, scale: Quantity, evidence: Evidence | None = None) -> Agreement:
    """Compare the pickup by photo with the pickup by scale.

    Parameters
    ----------
    photo, scale : Quantity
        Pickup, percent. The two are taken as independent: a factor between area and mass that was learned on the same
        scale cancels in the photo's ratio.
    evidence : Evidence, optional
        What else is known of the run; without it no causes are given.

    Returns
    -------
    Agreement
        "agree" for |zeta| ≤ 2, which is |E_n| ≤ 1, unless the expanded uncertainty of the difference is above 6 points:
        then "too uncertain" to tell; "disagree" for |zeta| ≥ 3; "doubtful" between. The sentence gives expanded
        uncertainties, U = 2 u.

    Raises
    ------
    ValueError
        Both uncertainties are 0.
    """
    verdict = verdict_of(photo, scale)
    explain = evidence is not None and (verdict in ("doubtful", "disagree") or evidence.balance_doubted)
    causes = rank_causes(photo, scale, evidence) if explain and evidence is not None else ()
    return Agreement(
        photo_percent=photo.value,
        photo_u=photo.u,
        scale_percent=scale.value,
        scale_u=scale.u,
        en=en_score(photo.value, scale.value, COVERAGE * photo.u, COVERAGE * scale.u),
        zeta=zeta_score(photo.value, scale.value, photo.u, scale.u),
        verdict=verdict,
        sentence=_sentence(photo, scale, verdict, causes),
        causes=causes,
    )


def zeta_score(value: float, reference: float, u: float, u_reference: float) -> float:
    """(value − reference) / √(u² + u_reference²) with standard uncertainties (ISO 13528:2022, 9.6).

    Raises
    ------
    ValueError
        Both uncertainties are 0, or one is negative.
    """
    return _score(value, reference, u, u_reference)


def en_score(value: float, reference: float, expanded: float, expanded_reference: float) -> float:
    """(value − reference) / √(U² + U_reference²) with expanded uncertainties, k = 2 (ISO 13528:2022, 9.7).

    With U = 2 u on both sides it is half of zeta.

    Raises
    ------
    ValueError
        Both uncertainties are 0, or one is negative.
    """
    return _score(value, reference, expanded, expanded_reference)


def verdict_of(photo: Quantity, scale: Quantity) -> Verdict:
    """Word for how two pickups, percent, compare.

    Raises
    ------
    ValueError
        Both uncertainties are 0.
    """
    zeta = abs(zeta_score(photo.value, scale.value, photo.u, scale.u))
    if zeta > ACCEPTABLE:
        return "doubtful" if zeta < ACTION else "disagree"
    return "agree" if expanded_difference(photo, scale) <= MOST_EXPANDED else "too uncertain"


def expanded_difference(photo: Quantity, scale: Quantity) -> float:
    """Expanded uncertainty of the difference, points: by so much the two may differ by chance."""
    return COVERAGE * math.hypot(photo.u, scale.u)


def _score(value: float, reference: float, u: float, u_reference: float) -> float:
    if not (u >= 0 and u_reference >= 0 and u + u_reference > 0):
        raise ValueError(f"uncertainties must not be negative nor both 0, got {u} and {u_reference}")
    return (value - reference) / math.hypot(u, u_reference)


def _sentence(photo: Quantity, scale: Quantity, verdict: Verdict, causes: tuple[Cause, ...]) -> str:
    both = f"photo {with_uncertainty(photo)} %, scale {with_uncertainty(scale)} %: "
    likely = f"; most likely {causes[0].name}: {causes[0].sentence}" if causes else ""
    if verdict == "agree":
        return both + "they agree" + (f", but what was weighed does not fit together{likely}" if likely else "")
    by_chance = expanded_difference(photo, scale)
    decimals = decimals_beside(by_chance)
    chance = fixed_text(by_chance, decimals)
    if verdict == "too uncertain":
        wider = "scale" if scale.u > photo.u else "photo"
        return both + (
            f"too uncertain to tell whether they agree, since by chance alone they may differ by {chance} points, most "
            f"of it by the {wider}{likely}"
        )
    points = fixed_text(abs(photo.value - scale.value), decimals)
    apart = f"by {points} points, where {chance} may be chance"
    said = (
        f"it is doubtful whether they agree, they differ {apart}" if verdict == "doubtful" else f"they disagree {apart}"
    )
    return both + said + likely


def with_uncertainty(quantity: Quantity) -> str:
    """Value and expanded uncertainty (k = 2) without unit, as "83.41 ± 0.86"."""
    return plus_minus(quantity.value, COVERAGE * quantity.u)
