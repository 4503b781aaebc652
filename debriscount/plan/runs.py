"""How many runs it takes, and in which order they are made."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from ..compare.compare import FALSE_ALARM, needed
from ..compare.labels import CampaignRun
from ..compare.selected import Choice
from ..compare.summary import summarise
from ..errors import CompareError
from ..stats.power import Design, detectable
from ..stats.power import power as power_of
from ..stats.run_order import mirrored_blocks, randomised_blocks

#: How runs of one machine and setting scatter where nothing is known of them, points: a guess.
GUESSED_SD = 3.0
#: Runs that make a repeatability worth more than a guess: their degrees of freedom.
_FEWEST_DOF = 2
#: What can be the same in runs that repeat one another.
_ALIKE = ("machine", "software", "setting", "floor", "patch", "debris")
MOST_BLOCKS = 100
ORDERS = ("random", "mirrored", "none")
Order = Literal["random", "mirrored", "none"]


@dataclass(frozen=True, slots=True)
class Repeatability:
    """Standard deviation of single runs, in the unit of the figure; ``dof`` is None for a guess."""

    sd: float
    dof: int | None
    u: float | None = None


@dataclass(frozen=True, slots=True)
class PlannedTest:
    """A run to make: its number, block and level of the factor."""

    number: int
    block: int
    level: str


@dataclass(frozen=True, slots=True, kw_only=True)
class RunsPlan:
    """How many runs of each level, and their order.

    ``needed`` holds the number that tells the wanted difference by how often one wants to tell it, None where that
    cannot be. ``each`` are made of every level; with them the wanted difference is told with ``power``, and a
    difference of ``detectable`` in four of five cases. ``tests`` are in the order of running, in blocks that have every
    level once; with order "none" blocks mean nothing.
    """

    factor: str
    levels: tuple[str, ...]
    wanted: float
    repeatability: Repeatability
    needed: dict[float, int | None]
    each: int
    power: float
    detectable: float
    order: Order
    tests: tuple[PlannedTest, ...]

    @property
    def comparisons(self) -> int:
        """Differences that are looked at together."""
        return math.comb(len(self.levels), 2)


def earlier_repeatability(runs: Sequence[CampaignRun], choice: Choice | None = None) -> Repeatability | None:
    """Return how runs that repeat one another scattered, and how uncertain their measurement was.

    None where no two runs are alike in machine, software, settings, floor, patch and debris, or too few are.
    """
    try:
        summary = summarise(runs, _ALIKE, choice)
    except CompareError:
        return None
    if summary.repeatability is None or summary.dof < _FEWEST_DOF or summary.repeatability == 0:
        return None
    u = [group.u for group in summary.groups if group.u is not None]
    return Repeatability(summary.repeatability, summary.dof, float(np.mean(u)) if u else None)


def plan_runs(
    factor: str,
    levels: Sequence[str],
    repeatability: Repeatability,
    wanted: float,
    *,
    each: int | None = None,
    order: Order = "random",
    seed: int = 0,
) -> RunsPlan:
    """Plan a comparison.

    Parameters
    ----------
    factor : str
        What is compared.
    levels : sequence of str
        Two or more.
    repeatability : Repeatability
        How runs of one level scatter.
    wanted : float
        Difference to tell, above 0.
    each : int, optional
        Runs of each level; as many as tell the difference in four of five cases if not given.
    order : {"random", "mirrored", "none"}
        Blocks in random order, forwards and backwards by turns, or no blocks: level after level.
    seed : int
        Of the random order: the same seed gives the same.

    Returns
    -------
    RunsPlan

    Raises
    ------
    CompareError
        There are fewer than two levels, a number is out of range, or it would take more than 100 runs of each.

    Notes
    -----
    Runs in blocks are compared within blocks, as `compare` does: the standard deviation of a difference is then √2 of
    that of single runs, on one degree of freedom less than there are blocks. What blocks have in common is not known
    beforehand and may make it better. Several differences share the chance of a false alarm.
    """
    levels = tuple(dict.fromkeys(levels))
    if len(levels) < 2:
        raise CompareError(f"{factor} has fewer than two levels to compare. Name them with --level, once for each.")
    if not (0 < wanted < math.inf):
        raise CompareError(f"the difference to tell must be above 0, got {wanted:g}.")
    if not (0 < repeatability.sd < math.inf):
        raise CompareError(f"the standard deviation of runs must be above 0, got {repeatability.sd:g}.")
    if order not in ORDERS:
        raise CompareError(f'order "{order}" is unknown. Known are: {", ".join(ORDERS)}.')
    comparisons = math.comb(len(levels), 2)
    design: Design = "welch" if order == "none" else "pairs"
    sd = repeatability.sd * (math.sqrt(2) if design == "pairs" else 1.0)
    counts = {often: needed(wanted, sd, often, design=design, comparisons=comparisons) for often in (0.8, 0.9)}
    if each is None:
        each = counts[0.8]
    if each is None or not 2 <= each <= MOST_BLOCKS:
        told = "more than a million" if each is None else str(each)
        raise CompareError(
            f"{told} runs of each are out of range: 2 to {MOST_BLOCKS}. Ask for a larger difference with --tell, or"
            " give --runs."
        )
    chance = FALSE_ALARM / comparisons
    return RunsPlan(
        factor=factor,
        levels=levels,
        wanted=wanted,
        repeatability=repeatability,
        needed=counts,
        each=each,
        power=power_of(wanted, sd, each, design=design, chance=chance),
        detectable=detectable(sd, each, design=design, chance=chance),
        order=order,
        tests=_tests(levels, each, order, seed),
    )


def _tests(levels: tuple[str, ...], each: int, order: Order, seed: int) -> tuple[PlannedTest, ...]:
    if order == "none":
        blocks = [[level] * each for level in levels]
    elif order == "mirrored":
        blocks = mirrored_blocks(levels, each)
    else:
        blocks = randomised_blocks(levels, each, np.random.default_rng(seed))
    pairs = [(number, level) for number, block in enumerate(blocks, start=1) for level in block]
    return tuple(PlannedTest(i, block, level) for i, (block, level) in enumerate(pairs, start=1))
