"""Weighed portions and what they teach: frozen records whose fields carry their units."""

from dataclasses import dataclass, field

from ..arrays import Floats
from ..inputs.debris import DebrisKind
from ..stats.quantity import Quantity
from ..stats.regression import FTest, LinearFit


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class PortionShot:
    """What one photo shows of a portion.

    ``cell_cover`` of shape (C,) is the seen cover of the cells that hold grains, each ``cell_mm2`` large (see
    `debriscount.portions.crowding`); their product sums to the area seen, from which ``bare_mm2``, what the blank shows
    as debris, is still to be taken. ``grains`` is None where grains are too fine in the photo to be counted.
    """

    file: str
    sha256: str
    cell_cover: Floats
    cell_mm2: float
    bare_mm2: float
    u_bare_mm2: float
    grains: int | None
    u_grains: float


@dataclass(frozen=True, slots=True, eq=False)
class WeighedPortion:
    """One portion as it was laid out once: its mass, and one photo of it or several."""

    mass_g: Quantity
    shots: tuple[PortionShot, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class CrowdingFit:
    """Crowding kappa that fits the portions best, its 95 % interval, and how often chance improves the fit as much.

    An end of the interval at an end of ``debriscount.portions.crowding.KAPPAS`` is open, and ``u``, the half width over
    the coverage factor, then infinite. ``adopted`` says whether the
    improvement is significant, so that kappa is used instead of the debris file's.
    """

    kappa: float
    u: float
    interval95: tuple[float, float]
    p: float
    adopted: bool


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class AreaFit:
    """Mass against area, mg and mm², through the origin.

    ``areas_mm2`` of shape (N,) are the portions' with ``crowding`` undone. ``fit`` has one column, the areas, or where
    crowding was fitted two, the second being the derivative by kappa of what the portions should weigh.
    ``intercept_mg`` is where a line that need not go through the origin crosses it; None for fewer than three portions.
    """

    area_mass_mg_per_mm2: Quantity
    crowding: float
    crowding_fit: CrowdingFit | None
    areas_mm2: Floats
    fit: LinearFit
    lack_of_fit: FTest | None
    intercept_mg: Quantity | None


@dataclass(frozen=True, slots=True)
class GrainMass:
    """Mass of a grain from counts, from a thousand grains weighed, and whether they agree (zeta, ISO 13528); mg.

    ``best_mg`` is their weighted mean where they agree. Where they do not it is the counted one, whose faults the
    photos of a test share.
    """

    counted_mg: Quantity | None
    thousand_mg: Quantity | None
    zeta: float | None
    best_mg: Quantity | None


@dataclass(frozen=True, slots=True)
class Advice:
    """Another portion that would help: how it would be laid, and what it would do; half widths of 95 % intervals."""

    what: str
    now: float
    then: float
    sentence: str


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class PortionCalibration:
    """What the portions teach of a kind of debris.

    ``kind`` is the given one with the masses, crowding and calibration learned; ``read_off_g`` a mass read off a photo
    later, with its prediction interval.
    """

    kind: DebrisKind
    portions: tuple[WeighedPortion, ...]
    area: AreaFit
    grain_mass: GrainMass
    read_off_g: Quantity
    advice: tuple[Advice, ...]
    warnings: tuple[str, ...] = field(default=())
