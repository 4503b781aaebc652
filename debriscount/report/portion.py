"""What portions taught, for the terminal and as plain JSON values."""

import math
from collections.abc import Iterator
from typing import Any

from ..columns import TERMINAL_WIDTH, aligned, wrapped
from ..pickup.masses import CARRY
from ..portions.advice import FACTOR
from ..portions.calibrate import mean_grains
from ..portions.crowding import KAPPAS, usual_cover
from ..portions.records import PortionCalibration, WeighedPortion
from ..scale.agreement import ACCEPTABLE
from ..stats.quantity import Quantity
from .rounding import amount_text

FORMAT = "debriscount/portion/1"
_HEADINGS = ("portion", "g", "area mm²", "cover %", "grains", "off the line %", "counts for %")


def calibration_text(found: PortionCalibration, width: int = TERMINAL_WIDTH) -> str:
    """Return a table of the portions and sentences below it: results, checks, advice, warnings.

    Sentences are wrapped to ``width`` columns.
    """
    sentences = [sentence[0].upper() + sentence[1:] + "." for sentence in (*_results(found), *_checks(found))]
    sentences += [f"Advice: {sentence}." for sentence in ([a.sentence for a in found.advice] or [_no_advice(found)])]
    sentences += [f"Warning: {warning}" for warning in found.warnings]
    rows = [list(_HEADINGS), *(_row(found, k, portion) for k, portion in enumerate(found.portions))]
    return "\n".join([*aligned(rows, width), "", *(wrapped(sentence, "  ", width) for sentence in sentences)]) + "\n"


def calibration_json(found: PortionCalibration) -> dict[str, Any]:
    """Return the record of format "debriscount/portion/1": grams, milligrams, mm²; what is unknown is None."""
    area, grain, crowded, test = found.area, found.grain_mass, found.area.crowding_fit, found.area.lack_of_fit
    return {
        "format": FORMAT,
        "kind": found.kind.name,
        "area_mass_mg_per_mm2": _quantity(area.area_mass_mg_per_mm2),
        "crowding": {
            "used": area.crowding,
            "fitted": None
            if crowded is None
            else {"value": crowded.kappa, "u": _known(crowded.u), "interval95": list(crowded.interval95)},
            "p": None if crowded is None else crowded.p,
            "adopted": crowded is not None and crowded.adopted,
        },
        "grain_mass_mg": {
            "counted": _quantity(grain.counted_mg),
            "thousand_grains": _quantity(grain.thousand_mg),
            "zeta": grain.zeta,
            "agree": None if grain.zeta is None else abs(grain.zeta) <= ACCEPTABLE,
        },
        "lack_of_fit": None
        if test is None
        else {"f": _known(test.f), "dof": [test.dof_above, _known(test.dof_below)], "p": test.p},
        "intercept_g": _quantity(area.intercept_mg, 1000),
        "read_off_g": _quantity(found.read_off_g),
        "portions": [_portion(found, k) for k in range(len(found.portions))],
        "advice": [{"portion": a.what, "now": _known(a.now), "then": a.then, "text": a.sentence} for a in found.advice],
        "warnings": list(found.warnings),
    }


def _quantity(quantity: Quantity | None, per: float = 1.0) -> dict[str, Any] | None:
    if quantity is None:
        return None
    low, high = quantity.interval95()
    return {
        "value": quantity.value / per,
        "u": quantity.u / per,
        "dof": _known(quantity.dof),
        "interval95": [low / per, high / per],
    }


def _known(value: float) -> float | None:
    return value if math.isfinite(value) else None


def _portion(found: PortionCalibration, k: int) -> dict[str, Any]:
    portion, fit = found.portions[k], found.area.fit
    return {
        "photos": [{"file": shot.file, "sha256": shot.sha256} for shot in portion.shots],
        "grams": portion.mass_g.value,
        "u_grams": portion.mass_g.u,
        "area_mm2": float(found.area.areas_mm2[k]),
        "cover_percent": 100 * usual_cover(portion.shots),
        "grains": mean_grains(portion),
        "off_percent": _off_percent(found, k),
        "leverage": float(fit.leverage[k]),
    }


def _off_percent(found: PortionCalibration, k: int) -> float:
    """How much more the portion weighs than its area says, percent."""
    return 100 * float(found.area.fit.residuals[k]) / (1000 * found.portions[k].mass_g.value)


def _row(found: PortionCalibration, k: int, portion: WeighedPortion) -> list[str]:
    grains = mean_grains(portion)
    return [
        ", ".join(shot.file for shot in portion.shots),
        f"{portion.mass_g.value:g}",
        f"{found.area.areas_mm2[k]:.0f}",
        f"{100 * usual_cover(portion.shots):.1f}",
        amount_text(grains),
        f"{_off_percent(found, k):+.1f}",
        f"{100 * found.area.fit.leverage[k] / found.area.fit.leverage.sum():.0f}",
    ]


def _results(found: PortionCalibration) -> Iterator[str]:
    area, grain, crowded = found.area, found.grain_mass, found.area.crowding_fit
    yield f"{found.kind.name}: a mm² seen from above weighs {area.area_mass_mg_per_mm2.text()} mg"
    later = found.read_off_g
    yield f"a mass of {later.value:.3g} g read off one photo later is known to ± {later.expanded95:.2g} g"
    yield (
        f"that is so on this floor and in this light: on another floor areas differ by {100 * CARRY:.0f} % (a standard "
        "deviation), counts less, so weigh portions where you test"
    )
    if crowded is not None:
        low, high = crowded.interval95
        reach = f"from {low:.2f} to {_end(high)}"
        yield (
            f"crowding: {crowded.kappa:.2f} ({reach}; 0 is a single layer, 1 grains over one another at random) fits "
            f"better than none ({_chance(crowded.p)})"
            if crowded.adopted
            else f"crowding may be anything {reach}, where 0 is a single layer and 1 grains over one another at "
            f"random; that fits no better ({_chance(crowded.p)}), so {area.crowding:g} stays"
        )
    if grain.counted_mg is not None:
        yield f"a grain weighs {grain.counted_mg.text()} mg by the counts"
    else:
        yield "grains are too fine in these photos to be counted surely, so that none has a mass by counts"
    if grain.thousand_mg is not None:
        yield f"a grain weighs {grain.thousand_mg.text()} mg by a thousand grains weighed"
    if grain.zeta is not None:
        yield f"both ways {'agree' if abs(grain.zeta) <= ACCEPTABLE else 'do not agree'}"


def _chance(p: float) -> str:
    return f"p = {p:.2g}" if p >= 0.001 else "p < 0.001"


def _end(kappa: float) -> str:
    return f"{kappa:.2f}" if kappa < KAPPAS[1] else f"beyond {KAPPAS[1]:g}"


def _checks(found: PortionCalibration) -> Iterator[str]:
    test, line = found.area.lack_of_fit, found.area.intercept_mg
    if test is not None and test.p >= 0.05:
        against = "stated uncertainties" if math.isinf(test.dof_below) else "portions of equal weight"
        yield f"mass goes in proportion to area (lack of fit against {against}: {_chance(test.p)})"
    if line is not None and abs(line.value) <= line.expanded95:
        yield f"a line that need not go through the origin meets it within ± {line.expanded95 / 1000:.2g} g"


def _no_advice(found: PortionCalibration) -> str:
    if found.area.fit.widening > 1:
        return (
            f"no single portion would narrow this much. What limits it is how portions scatter: "
            f"{found.area.fit.widening:.2g} times what scale and photos account for"
        )
    return f"no further portion is needed; {FACTOR:g} times as much or as little would tell next to nothing"
