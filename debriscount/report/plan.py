"""A plan for people and for programs."""

from collections.abc import Sequence

from .. import __version__
from ..columns import TERMINAL_WIDTH, wrapped
from ..compare.labels import level_text
from ..plan.portion import PortionPlan
from ..plan.runs import Repeatability, RunsPlan
from ..serialize import JsonObject, plain
from ..simulate.expect import USELESS_POINTS, Expectation
from .run_words import decimals_by, number_text, plural

FORMAT = "debriscount/plan/1"
#: Degrees of freedom below which a standard deviation is known to a quarter of itself at best (JCGM 100, table E.1).
_WELL_KNOWN = 9


def plan_text(
    plan: RunsPlan,
    portions: Sequence[PortionPlan],
    unknown: Sequence[str] = (),
    expected: Expectation | None = None,
    width: int = TERMINAL_WIDTH,
) -> str:
    """Return a plan in sentences and the order of runs, in lines of at most ``width``.

    Parameters
    ----------
    plan : RunsPlan
        The runs.
    portions : sequence of PortionPlan
        What to strew.
    unknown : sequence of str
        Kinds of debris of which no portion can be told.
    expected : Expectation, optional
        What the simulator says of the measurement.
    width : int
        Columns.
    """
    said = [portion_sentence(portion) for portion in portions]
    said += [f"{kind}: its file tells no area mass, so give the load with --load." for kind in unknown]
    if expected is not None:
        said.append(_expected(expected))
    said += [_scatter(plan.repeatability), *_numbers(plan), *_order(plan)]
    order = [f"{test.number:>4}  {_block(plan, test.block)}{test.level}" for test in plan.tests]
    head = f"  run  {'block  ' * (plan.order != 'none')}{plan.factor.removeprefix('setting.')}"
    return "\n".join([*(wrapped(sentence, "  ", width) for sentence in said), "", head, *order]) + "\n"


def _block(plan: RunsPlan, block: int) -> str:
    return "" if plan.order == "none" else f"{block:>5}  "


def portion_sentence(portion: PortionPlan) -> str:
    """How much to strew, and whether it lies too dense."""
    grains = "" if portion.grains is None else f", about {portion.grains} grains"
    said = f"Strew {portion.grams:.1f} g of {portion.kind}: {portion.load_g_per_m2:.0f} g/m²{grains}"
    if portion.cover_percent is None or portion.most_g is None:
        return f"{said}. Its file tells no area mass, so whether that is too dense cannot be said."
    said += f", which covers {portion.cover_percent:.1f} % of the patch"
    if portion.crowded:
        return (
            f"{said}. That is too dense: from {portion.limit_percent:g} % on grains hide one another. At most"
            f" {portion.most_g:.1f} g, or a larger patch."
        )
    return f"{said}; up to {portion.most_g:.1f} g grains hardly hide one another."


def _expected(expected: Expectation) -> str:
    wide = expected.expect_points
    if wide is None:
        return f"The simulator could not measure this set-up: {expected.failures[0]}"
    lost = f"; {len(expected.failures)} of {expected.runs} made-up runs could not be measured" * bool(expected.failures)
    much = ", too much to compare machines" * (wide > USELESS_POINTS)
    return f"The simulator expects each run to be measured within ±{wide:.1f} points{much}{lost}."


def _scatter(repeatability: Repeatability) -> str:
    sd = number_text(repeatability.sd, decimals_by(None, repeatability.sd))
    if repeatability.dof is None:
        return f"Taken as a guess: runs scatter by {sd} points (standard deviation). --sd gives another."
    vague = ", which is not known well yet" * (repeatability.dof < _WELL_KNOWN)
    u = repeatability.u
    measured = "" if u is None else f", of which measuring explains {100 * min(1.0, (u / repeatability.sd) ** 2):.0f} %"
    return (
        f"Earlier runs that repeat one another scattered by {sd} points ({repeatability.dof} degrees of freedom{vague})"
        f"{measured}."
    )


def _numbers(plan: RunsPlan) -> list[str]:
    what = "blocks" if plan.order != "none" else "runs of each"
    counts = " and ".join(
        f"{'more than can be made' if n is None else n} {what if i == 0 else ''}".rstrip() + f" in {100 * often:.0f} %"
        for i, (often, n) in enumerate(plan.needed.items())
    )
    among = f", {plan.comparisons} differences looked at together" if plan.comparisons > 1 else ""
    said = [f"To tell {plan.wanted:g} points takes {counts} of cases{among}."]
    if plan.each != plan.needed[0.8]:
        said.append(
            f"With {plan.each} {what}, {plan.wanted:g} points are told in {100 * plan.power:.0f} % of cases, and"
            f" {number_text(plan.detectable, 1)} points in 80 %."
        )
    return said


def _order(plan: RunsPlan) -> list[str]:
    levels = " and ".join(level_text(plan.factor, level) for level in plan.levels[:4])
    total = plural(len(plan.tests), "run")
    if plan.order == "none":
        return [f"{total} of {levels}, one level after the other: what drifts meanwhile looks like a difference."]
    how = "forwards and backwards by turns" if plan.order == "mirrored" else "each in an order drawn by chance"
    return [
        f"{total} of {levels} in {plural(plan.each, 'block')}, {how}, so that battery, brush and floor that change"
        " meanwhile fall on all alike."
    ]


def plan_json(plan: RunsPlan, portions: Sequence[PortionPlan], expected: Expectation | None = None) -> JsonObject:
    """Return a plan as plain JSON values; what cannot be known is None."""
    return {
        "format": FORMAT,
        "version": __version__,
        "portions": [plain(portion) | {"crowded": portion.crowded} for portion in portions],
        "expected_points": None if expected is None else plain(expected.expect_points),
        "factor": plan.factor,
        "levels": list(plan.levels),
        "wanted": plain(plan.wanted),
        "sd": plain(plan.repeatability.sd),
        "dof": plan.repeatability.dof,
        "runs_needed": {f"{often:g}": n for often, n in plan.needed.items()},
        "runs_each": plan.each,
        "power": plain(plan.power),
        "detectable": plain(plan.detectable),
        "order": plan.order,
        "tests": [{"run": test.number, "block": test.block, "level": test.level} for test in plan.tests],
    }
