"""What is said of the debris in zones: frozen records whose fields carry their units."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

#: Whether a pickup may be trusted.
Trust = Literal["sound", "doubtful", "not measurable"]
#: How far the 95 % interval of a number of grains may reach from it to either side for the number to be given: this
#: share of it and so many grains besides, since of a few grains one more or less is no fault.
UNTOLD, UNTOLD_GRAINS = 0.05, 2


@dataclass(frozen=True, slots=True)
class Amount:
    """How much debris lies in a zone in one shot.

    ``grains95`` is the 95 % interval of ``grains``, which is open where grains hang together or the bare floor shows
    some too; None where it is unknown.
    """

    area_mm2: float
    grains: int
    mass_g: float | None
    grains95: tuple[int, int] | None = None

    @property
    def told_grains(self) -> int | None:
        """The number of grains; None where its interval says that it cannot be told."""
        if self.grains95 is None:
            return self.grains
        low, high = self.grains95
        off = max(high - self.grains, self.grains - low)
        return None if off > UNTOLD * self.grains + UNTOLD_GRAINS else self.grains


@dataclass(frozen=True, slots=True, kw_only=True)
class ZoneFigures:
    """One zone over one pass or the whole run so far; a figure that cannot be known is None.

    ``limit_mm2`` is the detection limit of the leftovers. Where less than that was seen, ``more_than_percent`` is what
    can be promised of the pickup, and ``pickup_percent`` stays the best estimate; otherwise it is None. ``trust`` says
    whether the pickup may be trusted, ``why`` in a few words why it may not: doubtful until it is judged.
    """

    before: Amount
    after: Amount
    gone_percent: float | None
    pickup_percent: float | None
    interval95: tuple[float, float] | None = None
    more_than_percent: float | None = None
    limit_mm2: float | None = None
    trust: Trust = "doubtful"
    why: str = ""


@dataclass(frozen=True, slots=True)
class PassFigures:
    """What one pass of the machine had left, against *before*.

    ``zones`` is keyed by "patch" and the names of the patch's zones, ``kinds`` by kind name and
    then by zone. ``with_patch`` is by how many points the photo's pickup of a zone is likely off where that of the
    patch is off by one; a zone where that is unknown is missing.
    """

    number: int
    zones: dict[str, ZoneFigures]
    kinds: dict[str, dict[str, ZoneFigures]]
    with_patch: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class BudgetLine:
    """One named source of uncertainty and what it adds to the patch's pickup, percentage points."""

    source: str
    u_percent: float
