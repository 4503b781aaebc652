"""How much debris to strew, in grams."""

from dataclasses import dataclass

from ..errors import CompareError
from ..inputs.debris import DebrisKind

#: Share of the patch that debris covers as a rule, percent; the README says the same.
USUAL_COVER_PERCENT = 4.0
#: Cover q at which grains that overlap by chance hide a twentieth of their area: (1 − exp(−q)) / q is 0.95 at 0.1.
CROWDED_PERCENT = 10.0
MM2_PER_M2, MG_PER_G = 1e6, 1e3
#: More than anybody strews, g/m².
_MOST_LOAD = 1e5


@dataclass(frozen=True, slots=True, kw_only=True)
class PortionPlan:
    """A portion for a patch.

    ``cover_percent`` is the share of the patch that it covers where no grain lies on another, ``most_g`` the portion at
    which it would cover as much as the limit, ``grains`` their number; None where the kind's file does not tell.
    ``crowded`` says that the portion covers more than the limit.
    """

    kind: str
    grams: float
    load_g_per_m2: float
    cover_percent: float | None
    limit_percent: float
    most_g: float | None
    grains: int | None

    @property
    def crowded(self) -> bool:
        """Whether grains hide one another more than the limit allows."""
        return self.cover_percent is not None and self.cover_percent > self.limit_percent * (1 + 1e-9)


def plan_portion(
    kind: DebrisKind, area_mm2: float, load_g_per_m2: float | None = None, limit_percent: float = CROWDED_PERCENT
) -> PortionPlan | None:
    """Say how much of a kind to strew on a patch.

    Parameters
    ----------
    kind : DebrisKind
        The kind; its area mass tells how much a gram covers.
    area_mm2 : float
        Area of the patch.
    load_g_per_m2 : float, optional
        Wanted load; without it the portion covers the usual share.
    limit_percent : float
        Cover from which on grains count as crowded.

    Returns
    -------
    PortionPlan or None
        None where neither a load nor the kind's area mass is known.

    Raises
    ------
    CompareError
        The load or the limit is out of range.
    """
    if load_g_per_m2 is not None and not 0 < load_g_per_m2 <= _MOST_LOAD:
        raise CompareError(f"the load must be above 0 and at most {_MOST_LOAD:g} g/m², got {load_g_per_m2:g}.")
    if not 0 < limit_percent <= 100:
        raise CompareError(f"the limit of cover must be above 0 and at most 100 %, got {limit_percent:g}.")
    area_mass = kind.area_mass_mg_per_mm2  # 1 mg/mm² is what a square metre covered whole weighs in kg
    if load_g_per_m2 is None:
        if area_mass is None:
            return None
        load_g_per_m2 = USUAL_COVER_PERCENT / 100 * area_mass * MM2_PER_M2 / MG_PER_G
    grams = load_g_per_m2 * area_mm2 / MM2_PER_M2
    whole_g = None if area_mass is None else area_mass * area_mm2 / MG_PER_G
    return PortionPlan(
        kind=kind.name,
        grams=grams,
        load_g_per_m2=load_g_per_m2,
        cover_percent=None if whole_g is None else 100 * grams / whole_g,
        limit_percent=limit_percent,
        most_g=None if whole_g is None else limit_percent / 100 * whole_g,
        grains=None if kind.grain_mass_mg is None else round(grams * MG_PER_G / kind.grain_mass_mg),
    )
