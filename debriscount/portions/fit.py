"""From weighed portions to area mass, crowding and grain mass; numbers only."""

import math
from collections.abc import Sequence

import numpy as np

from ..arrays import Floats
from ..scale.agreement import ACCEPTABLE, zeta_score
from ..stats.quantity import Quantity
from ..stats.regression import fit_line, fit_through_origin, lack_of_fit, least_squares, weighted_mean
from .crowding import (
    LEAST_PORTIONS,
    area_by_crowding,
    crowding_columns,
    fit_crowding,
    portion_area_mm2,
    usual_cover,
)
from .records import AreaFit, GrainMass, WeighedPortion
from .weights import grain_mass_spread, portion_u_mg, u_from_line_mg

#: By what factor the density of a portion that is laid anew in the same way may differ by chance (common practice, no
#: source); portions of one weight whose densities differ by more tell of crowding and are no repeats.
DENSITY_CHANCE = 1.25
#: Grains of a thousand-grain mass.
THOUSAND = 1000


def fit_area_mass(portions: Sequence[WeighedPortion], size_mm: tuple[float, float], crowding: float = 0.0) -> AreaFit:
    """Fit mass against area through the origin.

    Parameters
    ----------
    portions : sequence of WeighedPortion
        At least one; every area greater than 0.
    size_mm : (float, float)
        5th and 95th percentile of grain diameter.
    crowding : float
        kappa that holds unless another fits significantly better.

    Returns
    -------
    AreaFit

    Notes
    -----
    Weights are 1 / u², with u as `debriscount.portions.weights.u_from_line_mg`. Where the scatter about the line is
    larger than these say, uncertainties grow by Birge's ratio. Portions of equal weight and density are repeats, whose
    scatter the lack of fit is tested against; without any, it is tested against the stated uncertainties. No scatter
    shows what is common to all photos, such as floor and light; see `debriscount.pickup.masses.CARRY`.
    """
    laid = [p.shots for p in portions]
    mass, u = np.array([1000 * p.mass_g.value for p in portions]), portion_u_mg(portions, size_mm)
    crowded = fit_crowding(laid, mass, u, crowding)
    adopted = crowded is not None and crowded.adopted
    kappa = crowded.kappa if crowded is not None and adopted else crowding
    areas = np.array([portion_area_mm2(shots, kappa) for shots in laid])
    fit = fit_through_origin(areas, mass, u)
    if adopted:
        fit = least_squares(crowding_columns(laid, float(fit.coefficients[0]), kappa), mass, u)
    line = fit_line(areas, mass, u).coefficient(0) if len(set(areas)) >= LEAST_PORTIONS else None
    return AreaFit(
        area_mass_mg_per_mm2=fit.coefficient(0),
        crowding=kappa,
        crowding_fit=crowded,
        areas_mm2=areas,
        fit=fit,
        lack_of_fit=lack_of_fit(fit, repeats(portions)),
        intercept_mg=line,
    )


def repeats(portions: Sequence[WeighedPortion]) -> list[int]:
    """Number of each portion's group, shape (N,): those of one weight, as written, that lie about equally dense."""
    firsts: list[tuple[float, float]] = []
    groups = []
    for p in portions:
        cover = usual_cover(p.shots)
        alike = (
            k
            for k, (grams, first) in enumerate(firsts)
            if grams == p.mass_g.value and 1 / DENSITY_CHANCE < cover / first < DENSITY_CHANCE
        )
        group = next(alike, len(firsts))
        if group == len(firsts):
            firsts.append((p.mass_g.value, cover))
        groups.append(group)
    return groups


def read_off(
    area: AreaFit, portions: Sequence[WeighedPortion], mass_g: float, size_mm: tuple[float, float]
) -> Quantity:
    """Mass of debris that is laid as the portions and will be seen in one photo, grams, with its prediction interval.

    Parameters
    ----------
    area : AreaFit
        Of ``portions``.
    portions : sequence of WeighedPortion
        The middle one's density is taken for that of the debris.
    mass_g : float
        About what it weighs.
    size_mm : (float, float)
        5th and 95th percentile of grain diameter.

    Returns
    -------
    Quantity
        Its value is ``mass_g``.
    """
    row, u_new = prediction_row(area, portions, 1000 * mass_g, size_mm)
    found = area.fit.predicted(row, u_new)
    return Quantity(mass_g, found.u / 1000, found.dof)


def prediction_row(
    area: AreaFit,
    portions: Sequence[WeighedPortion],
    mass_mg: float,
    size_mm: tuple[float, float],
    density: float = 1.0,
) -> tuple[Floats, float]:
    """Columns of a portion of that mass, and how uncertain its distance from the line is but for the scale, mg.

    ``density`` is how much denser than the middle portion it lies; crowding's effect goes in proportion.
    """
    slope = area.area_mass_mg_per_mm2.value
    x = mass_mg / slope
    u = u_from_line_mg(mass_mg, 0.0, x, 0.0, 1, size_mm)
    if area.fit.covariance.shape[0] == 1:
        return np.array([x]), u
    return np.array([x, slope * x * bending(area, portions) * density]), u


def bending(area: AreaFit, portions: Sequence[WeighedPortion]) -> float:
    """Relative derivative of area by kappa, of the middle portion."""
    shares = [area_by_crowding(p.shots, area.crowding) / a for p, a in zip(portions, area.areas_mm2, strict=True)]
    return float(np.median(shares))


def fit_grain_mass(
    portions: Sequence[WeighedPortion], size_mm: tuple[float, float], thousand_g: Quantity | None = None
) -> GrainMass:
    """Fit mass against the count of grains, through the origin, and compare with a thousand grains weighed.

    Parameters
    ----------
    portions : sequence of WeighedPortion
        Those whose grains are too fine to be counted, or of which none was seen, say nothing.
    size_mm : (float, float)
        5th and 95th percentile of grain diameter.
    thousand_g : Quantity, optional
        Mass of a thousand grains, grams, as the scale has it; in milligrams it is that of a grain.

    Returns
    -------
    GrainMass

    Notes
    -----
    Beside the scale's stand the uncertainty of the counts and which grains happened to be in the portion, the relative
    spread of grain mass over the root of their number. zeta is the difference over the root of the summed squares of
    both standard uncertainties (ISO 13528:2022, 9.6).
    """
    spread = grain_mass_spread(size_mm)
    countable = [p for p in portions if all(s.grains for s in p.shots)]
    points = np.array([_mass_and_count(p, spread) for p in countable])
    counted = fit_through_origin(points[:, 0], points[:, 1], points[:, 2]).coefficient(0) if countable else None
    thousand = None
    if thousand_g is not None:
        # Those thousand grains are a sample too.
        u = math.hypot(thousand_g.u, thousand_g.value * spread / math.sqrt(THOUSAND))
        thousand = Quantity(thousand_g.value, u, thousand_g.dof)
    zeta = None
    if counted is not None and thousand is not None:
        zeta = zeta_score(counted.value, thousand.value, counted.u, thousand.u)
    both = [q for q in (counted, thousand) if q is not None]
    agree = zeta is None or abs(zeta) <= ACCEPTABLE
    return GrainMass(counted, thousand, zeta, (weighted_mean(both) if agree else counted) if both else None)


def _mass_and_count(portion: WeighedPortion, spread: float) -> tuple[float, float, float]:
    """Grains, mass, mg, and how far it may lie from the line, of a portion whose grains are counted in all photos."""
    count = float(np.mean([s.grains for s in portion.shots if s.grains is not None]))
    u_count = math.sqrt(sum(s.u_grains**2 for s in portion.shots)) / len(portion.shots)
    mass = 1000 * portion.mass_g.value
    u = math.hypot(1000 * portion.mass_g.u, mass * u_count / count, mass * spread / math.sqrt(count))
    return count, mass, u
