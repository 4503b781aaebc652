"""When another portion would help, and which one."""

import math
from collections.abc import Sequence

import numpy as np

from ..arrays import Floats
from ..stats.quantity import coverage_factor95
from ..stats.regression import LinearFit
from .crowding import area_by_crowding, usual_cover
from .fit import prediction_row
from .records import Advice, AreaFit, WeighedPortion
from .weights import LIGHT

#: An interval that becomes narrower by less than this share is not worth another portion (common practice, no source).
WORTH = 0.1
#: How much heavier, lighter or denser than the portions at hand another one is thought to be.
FACTOR = 2.0
#: A portion holds the line alone when its leverage is beyond this many times the average (common practice: Hoaglin and
#: Welsch, Am. Stat. 32 (1978) 17, from memory).
LEVERAGE = 2.0


def next_portions(
    area: AreaFit, portions: Sequence[WeighedPortion], at_g: float, size_mm: tuple[float, float]
) -> tuple[Advice, ...]:
    """Return other portions that would help, the most helpful first.

    Parameters
    ----------
    area : AreaFit
        Of ``portions``.
    portions : sequence of WeighedPortion
        Those at hand.
    at_g : float
        A mass to be read off later, grams; judged is its prediction interval.
    size_mm : (float, float)
        5th and 95th percentile of grain diameter.

    Returns
    -------
    tuple of Advice
        Empty where nothing would narrow an interval by ``WORTH``.

    Notes
    -----
    A new portion's columns and uncertainty follow from its mass and density alone, so what it would do to the
    covariance is known beforehand (Atkinson, Donev: Optimum Experimental Designs, Oxford 1992, from memory). That it
    may also show the scatter to be less than thought is left out.
    """
    masses = [p.mass_g.value for p in portions]
    u_scale_mg = 1000 * float(np.median([p.mass_g.u for p in portions]))
    heavy, light = FACTOR * max(masses), min(masses) / FACTOR
    row, u_new = prediction_row(area, portions, 1000 * at_g, size_mm)
    now = _half_width_g(area.fit, row, u_new)
    options = {f"of about {heavy:.2g} g, laid as before,": (heavy, 1.0), f"of about {light:.2g} g": (light, 1.0)}
    if len(area.fit.coefficients) > 1:
        options[f"of about {max(masses):.2g} g, laid {FACTOR:g} times as dense,"] = (max(masses), FACTOR)
    found = []
    for what, (mass_g, density) in options.items():
        added, u_photo = prediction_row(area, portions, 1000 * mass_g, size_mm, density)
        then = _half_width_g(_with(area.fit, added, math.hypot(u_photo, u_scale_mg)), row, u_new)
        if then < (1 - WORTH) * now:
            found.append(
                Advice(
                    what.rstrip(","), now, then,
                    f"another portion {what} would bring the 95 % interval of a mass of {at_g:.3g} g from "
                    f"± {now:.2g} to ± {then:.2g} g",
                )
            )  # fmt: skip
    found.sort(key=lambda a: a.then)
    return (*found[:1], *_denser(area, portions, u_scale_mg, size_mm))


def _denser(
    area: AreaFit, portions: Sequence[WeighedPortion], u_scale_mg: float, size_mm: tuple[float, float]
) -> list[Advice]:
    """Whether laying the heaviest portion denser would say more about crowding."""
    covers = [usual_cover(p.shots) for p in portions]
    slope = area.area_mass_mg_per_mm2.value
    columns = np.array(
        [[a, slope * area_by_crowding(p.shots, area.crowding)] for p, a in zip(portions, area.areas_mm2, strict=True)]
    )
    heaviest = max(range(len(portions)), key=lambda k: (portions[k].mass_g.value, covers[k]))
    mass_mg = 1000 * portions[heaviest].mass_g.value
    _, u_photo = prediction_row(area, portions, mass_mg, size_mm)
    weighted = columns / area.fit.u_y[:, None]
    # To first order what crowding hides goes as density: twice the density, twice the second column.
    denser = columns[heaviest] * [1, FACTOR] / math.hypot(u_photo, u_scale_mg)
    now, then = _u_kappa(weighted), _u_kappa(np.vstack([weighted, denser]))
    moved = now * float((columns[:, 1] / (slope * columns[:, 0])).max())
    if moved < LIGHT:  # less than the light of a single photo does to the densest portion
        return []
    factor = coverage_factor95(area.fit.effective_dof) * area.fit.widening
    now, then = factor * now, factor * then
    if not math.isfinite(now) or now > 1:
        sentence = (
            f"portions lie at {100 * min(covers):.2g} to {100 * max(covers):.2g} % cover, which says next to nothing "
            f"of crowding: lay the heaviest again {FACTOR:g} times as dense, and kappa will be known to ± {then:.2g}"
        )
    elif then < (1 - WORTH) * now:
        sentence = (
            f"the heaviest portion laid {FACTOR:g} times as dense would bring crowding's 95 % interval from "
            f"± {now:.2g} to ± {then:.2g}"
        )
    else:
        return []
    return [Advice(f"the heaviest, laid {FACTOR:g} times as dense", now, then, sentence)]


def fit_warnings(area: AreaFit, portions: Sequence[WeighedPortion]) -> list[str]:
    """Return one sentence for everything that speaks against the fit."""
    warnings = []
    n, columns = len(portions), area.fit.covariance.shape[0]
    if n == 1:
        warnings.append("one portion shows no scatter: its uncertainty rests on what photos and scales usually do")
    test = area.lack_of_fit
    if test is not None and test.p < 0.05:
        grew = (
            f"; uncertainties are {area.fit.widening:.2g} times what scale and photos account for"
            if area.fit.widening > 1
            else ""
        )
        warnings.append(
            f"mass is not in proportion to area (lack of fit: p = {test.p:.2g}){grew}. Look at the portion farthest "
            "from the line: a weight or a photo may be another's"
        )
    line = area.intercept_mg
    if line is not None and abs(line.value) > line.expanded95:
        warnings.append(
            f"the line through the portions misses the origin by {line.value / 1000:+.2g} ± "
            f"{line.expanded95 / 1000:.2g} g: a tare, or floor that is taken for debris"
        )
    if n > columns:
        what = "the line rests" if columns == 1 else "line and crowding rest"
        alone = [k for k, h in enumerate(area.fit.leverage) if h > LEVERAGE * columns / n]
        warnings += [f"{what} on the portion of {portions[k].mass_g.value:g} g alone" for k in alone]
    return warnings


def _half_width_g(fit: LinearFit, row: Floats, u_new: float) -> float:
    return fit.predicted(row, u_new).expanded95 / 1000


def _with(fit: LinearFit, row: Floats, u: float) -> LinearFit:
    """The fit as it would be with one more point on it."""
    a = row / u
    gained = fit.covariance @ a
    covariance = fit.covariance - np.outer(gained, gained) / (1 + a @ gained)
    residual, leverage = np.append(fit.residuals, 0.0), np.append(fit.leverage, a @ covariance @ a)
    dof = fit.dof + 1
    chi2 = fit.chi2 / fit.dof * dof if fit.dof else 0.0  # scatter as it was
    return LinearFit(
        coefficients=fit.coefficients,
        covariance=covariance,
        residuals=residual,
        leverage=leverage,
        u_y=np.append(fit.u_y, u),
        chi2=chi2,
        dof=dof,
        stated=fit.stated,
    )


def _u_kappa(weighted: Floats) -> float:
    information = weighted.T @ weighted
    determinant = float(np.linalg.det(information))
    # Columns in exact proportion leave nothing but rounding.
    if determinant <= 1e-10 * float(information[0, 0] * information[1, 1]):
        return math.inf
    return math.sqrt(float(information[0, 0]) / determinant)
