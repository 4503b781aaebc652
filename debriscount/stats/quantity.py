"""A number with its uncertainty."""

import math
from dataclasses import dataclass

#: Standard normal deviate of a two-sided 95 % interval.
Z95 = 1.959963984540054


@dataclass(frozen=True, slots=True)
class Quantity:
    """An estimate with its standard uncertainty (JCGM 100, 2.3.1).

    ``value`` and ``u`` share a unit, which the name of what holds them gives; ``dof`` are the effective degrees of
    freedom of ``u``, infinite where it is taken as known.
    """

    value: float
    u: float
    dof: float = math.inf

    def __post_init__(self) -> None:
        """Refuse an uncertainty that none can be.

        Raises
        ------
        ValueError
            ``value`` or ``u`` is not finite, ``u`` negative, or ``dof`` not positive.
        """
        if not (math.isfinite(self.value) and math.isfinite(self.u) and self.u >= 0 and self.dof > 0):
            raise ValueError(f"no quantity has value {self.value}, u {self.u} and {self.dof} degrees of freedom")

    @property
    def expanded95(self) -> float:
        """Half width of the 95 % interval: coverage factor from Student's t times ``u`` (JCGM 100, G.3)."""
        return coverage_factor95(self.dof) * self.u

    def interval95(self) -> tuple[float, float]:
        """Lower and upper end of the 95 % interval, in the unit of ``value``."""
        return self.value - self.expanded95, self.value + self.expanded95

    def text(self) -> str:
        """Value and half width of the 95 % interval without unit, as "83.84 ± 0.55"."""
        return plus_minus(self.value, self.expanded95)


def plus_minus(value: float, half: float) -> str:
    """Value and half the width of an interval, as "83.84 ± 0.55": two digits of the latter (JCGM 100, 7.2.6)."""
    decimals = decimals_beside(half)
    return f"{fixed_text(value, decimals)} ± {half:.{decimals}f}"


def decimals_beside(half: float) -> int:
    """Decimals of a figure whose interval is half so wide: those that show two digits of it, six at most."""
    return min(max(0, 1 - math.floor(math.log10(half))), 6) if half > 0 else 3


def fixed_text(value: float, decimals: int) -> str:
    """A number of so many decimals; never minus zero."""
    return f"{round(value, decimals) + 0.0:.{decimals}f}"


def coverage_factor95(dof: float) -> float:
    """Coverage factor of a 95 % interval, two-sided: 1.96 for a known uncertainty, more for few degrees of freedom.

    Degrees of freedom are not rounded down, as JCGM 100, G.6.4 leaves free.
    """
    from scipy.special import stdtrit

    return float(stdtrit(dof, 0.975)) if math.isfinite(dof) else Z95


def chance_of(quantity: Quantity, expected: float = 0.0) -> float:
    """How often chance alone takes an estimate as far from what is expected (two-sided, Student's t)."""
    from scipy.special import ndtr, stdtr

    away = -abs(quantity.value - expected)
    if quantity.u == 0:
        return float(away == 0)
    t = away / quantity.u
    return 2 * float(ndtr(t) if math.isinf(quantity.dof) else stdtr(quantity.dof, t))
