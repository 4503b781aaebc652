"""Differences between groups of runs, and which of them are more than chance."""

import math
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Literal

import numpy as np

from ..arrays import Floats
from ..errors import CompareError
from ..stats.differences import holm, paired, welch
from ..stats.power import Design, runs_needed
from ..stats.quantity import Quantity, chance_of
from ..stats.repeats import pooled
from .labels import UNSAID, CampaignRun, check_keys
from .like_with_like import unlike
from .selected import Choice
from .summary import GroupSummary, Summary, ranges, summarise

#: Chance of a false alarm among all differences together.
FALSE_ALARM = 0.05
#: Percentage points that one usually wants to tell, and how often.
USUAL_DIFFERENCE, USUAL_POWER = 3.0, 0.8

#: Of a difference with a run at the ceiling in it: whether the truth may lie above or below, or anywhere.
Bound = Literal["", "at least", "at most", "unknown"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Difference:
    """Mean of a first group less that of a second, in the unit of the figure (points for percentages).

    ``first`` and ``second`` are levels of the factor, the one with the larger mean first. ``interval95`` is that of
    this difference alone, by Welch or, with ``paired`` blocks, by their differences; None without repeats.
    ``chance`` is how often chance alone gives as much, ``adjusted`` the same with all other differences looked at
    beside it (Holm). ``told`` says whether the groups can be told apart. ``more_runs`` is how many runs each, or
    blocks, would tell the difference that is wanted; None where it cannot be said.
    """

    within: tuple[str, ...]
    first: str
    second: str
    n: tuple[int, int]
    value: float
    bound: Bound
    interval95: tuple[float, float] | None
    paired: int | None
    chance: float | None
    adjusted: float | None
    more_runs: int | None

    @property
    def told(self) -> bool:
        """Whether the two can be told apart."""
        return self.adjusted is not None and self.adjusted < FALSE_ALARM


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """Groups by a factor, within the levels of other keys, with all differences between them.

    ``ranks`` holds for each group how many of its like are shown to have a larger mean, plus one: those that cannot be
    told apart from the largest share the first rank. ``warnings`` say where the comparison is not like with like, or
    blocks could not be used.
    """

    factor: str
    within: tuple[str, ...]
    wanted: float
    power: float
    summary: Summary
    differences: tuple[Difference, ...]
    ranks: Mapping[tuple[str, ...], int]
    warnings: tuple[str, ...]


def compare(
    runs: Sequence[CampaignRun],
    factor: str,
    within: Sequence[str] = (),
    choice: Choice | None = None,
    *,
    block: str | None = "block",
    wanted: float = USUAL_DIFFERENCE,
    power: float = USUAL_POWER,
) -> Comparison:
    """Compare the levels of a factor by a figure of their runs.

    Parameters
    ----------
    runs : sequence of CampaignRun
        Of one campaign or several.
    factor : str
        What is compared, such as "machine" or "setting.brush".
    within : sequence of str
        Keys whose levels are looked at one by one, such as "machine".
    choice : Choice, optional
        The figure; the pickup of the patch after the last pass if not given.
    block : str or None
        Key by which runs belong together; used where every level has runs in all of the same blocks. None for never.
    wanted : float
        Difference that one wants to tell, in the unit of the figure; above 0.
    power : float
        How often, between 0.05 and 1.

    Returns
    -------
    Comparison

    Raises
    ------
    CompareError
        There is only one level, or as `select` says.

    Notes
    -----
    Intervals are those of each difference alone: 95 of 100 hold the truth. Whether two groups are told apart is decided
    by chances that Holm adjusts for all differences of the comparison together. So an interval may leave out 0 where
    many were looked at and nothing is told.
    """
    if not (wanted > 0 and math.isfinite(wanted) and FALSE_ALARM < power < 1):
        raise CompareError(
            f"the wanted difference must be above 0 and the power between 0.05 and 1, got {wanted:g} and {power:g}."
        )
    within = tuple(key for key in dict.fromkeys(within) if key != factor)
    if block is not None:
        check_keys([block], runs, extra=())
    summary = summarise(runs, [*within, factor], choice)
    strata: defaultdict[tuple[str, ...], list[GroupSummary]] = defaultdict(list)
    for group in summary.groups:
        strata[group.levels[:-1]].append(group)
    if all(len(groups) < 2 for groups in strata.values()):
        level = summary.groups[0].levels[-1]
        raise CompareError(
            f'there is nothing to compare: {factor} is "{level}" in all runs. Give another --factor, or add runs.'
        )
    warnings, found = [], []
    for levels, groups in strata.items():
        used, said = _blocks(groups, block if block not in (factor, *within) else None)
        warnings += [f"{', '.join(levels)}: {s}" if levels else s for s in (*said, *unlike(factor, within, groups))]
        found += [_difference(first, second, used) for first, second in combinations(groups, 2)]
    differences = _adjusted(found, wanted, power)
    return Comparison(
        factor=factor,
        within=within,
        wanted=wanted,
        power=power,
        summary=summary,
        differences=differences,
        ranks={group.levels: _rank(group, differences) for group in summary.groups},
        warnings=tuple(dict.fromkeys(warnings)),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Found:
    """A difference before it is known what else was looked at."""

    first: GroupSummary
    second: GroupSummary
    ends: tuple[Quantity, Quantity] | None
    value: float
    bound: Bound
    pairs: int | None
    chance: float | None


def _blocks(groups: Sequence[GroupSummary], key: str | None) -> tuple[str | None, list[str]]:
    """Return the key if every level has runs in all of the same blocks, two or more; else why it is not used."""
    if key is None:
        return None, []
    by_level = [{item.run.label(key) for item in group.items} for group in groups]
    named = [{label for label in labels if label != UNSAID} for labels in by_level]
    if not any(named):
        return None, []
    if all(labels == by_level[0] == full for labels, full in zip(by_level, named, strict=True)) and len(named[0]) > 1:
        return key, []
    return None, [f"not every level has runs in each {key}, so that runs are compared one by one, not within {key}s."]


def _difference(first: GroupSummary, second: GroupSummary, block: str | None) -> _Found:
    """Difference of two groups, the larger mean first; for both ends of what runs at the ceiling may be."""
    if (second.mean, second.levels) > (first.mean, first.levels):
        first, second = second, first
    (low1, high1), (low2, high2) = (ranges(group.items) for group in (first, second))
    pairs = None
    if block is None:
        ends = welch(low1, high2), welch(high1, low2)
    else:
        keys = [[item.run.label(block) for item in group.items] for group in (first, second)]
        ends = (
            paired(_by_block(low1, keys[0]), _by_block(high2, keys[1])),
            paired(_by_block(high1, keys[0]), _by_block(low2, keys[1])),
        )
        pairs = len(set(keys[0]))
    open_first, open_second = first.at_ceiling > 0, second.at_ceiling > 0
    bound: Bound = "unknown" if open_first and open_second else "at least" if open_first else ""
    bound = "at most" if open_second and not open_first else bound
    known = (ends[0], ends[1]) if ends[0] is not None and ends[1] is not None else None
    value = float(high1.mean() - low2.mean() if bound == "at most" else low1.mean() - high2.mean())
    if known is not None:  # in blocks of unequal sizes the mean difference is another than that of the means
        value = known[bound == "at most"].value
    return _Found(
        first=first,
        second=second,
        ends=known,
        value=value,
        bound=bound,
        pairs=pairs,
        chance=None if known is None else _chance(*known),
    )


def _by_block(values: Floats, blocks: Sequence[str]) -> Floats:
    """Mean of each block's values, in the order of the blocks' names."""
    _, number = np.unique(np.asarray(blocks), return_inverse=True)
    return np.bincount(number, values) / np.bincount(number)


def _chance(low: Quantity, high: Quantity) -> float:
    """Chance of as much where the difference lies between two: the larger; 1 where it may be on either side of 0."""
    if low.value * high.value < 0:
        return 1.0
    return max(chance_of(low), chance_of(high))


def _adjusted(found: Sequence[_Found], wanted: float, power: float) -> tuple[Difference, ...]:
    tested = [one for one in found if one.chance is not None]
    adjusted = dict(zip(map(id, tested), holm([one.chance or 0.0 for one in tested]), strict=True)) if tested else {}
    return tuple(
        Difference(
            within=one.first.levels[:-1],
            first=one.first.levels[-1],
            second=one.second.levels[-1],
            n=(one.first.n, one.second.n),
            value=one.value,
            bound=one.bound,
            interval95=_hull(one.ends),
            paired=one.pairs,
            chance=one.chance,
            adjusted=adjusted.get(id(one)),
            more_runs=_more_runs(one, wanted, power, len(tested)),
        )
        for one in found
    )


def _hull(ends: tuple[Quantity, Quantity] | None) -> tuple[float, float] | None:
    if ends is None:
        return None
    intervals = [end.interval95() for end in ends]
    return min(low for low, _ in intervals), max(high for _, high in intervals)


def _more_runs(one: _Found, wanted: float, power: float, comparisons: int) -> int | None:
    """Runs each, or blocks, that would tell the wanted difference among so many; None at the ceiling or unrepeated."""
    if one.bound or one.ends is None:
        return None
    if one.pairs is not None:
        sd, design = one.ends[0].u * math.sqrt(one.pairs), "pairs"
    else:
        groups = [one.first, one.second]
        common = pooled([group.sd or 0.0 for group in groups], [group.n - 1 for group in groups])
        sd, design = (0.0 if common is None else common[0]), "welch"
    return needed(wanted, sd, power, design=design, comparisons=comparisons)  # type: ignore[arg-type]


def needed(difference: float, sd: float, power: float, *, design: Design, comparisons: int = 1) -> int | None:
    """Runs each, or blocks, that tell a difference among so many comparisons; None where a million would not do.

    Each is tested with its share of the chance of a false alarm (Bonferroni), which asks for hardly more than Holm.
    """
    try:
        return runs_needed(difference, sd, power, design=design, chance=FALSE_ALARM / max(1, comparisons))
    except ValueError:
        return None


def _rank(group: GroupSummary, differences: Sequence[Difference]) -> int:
    level, within = group.levels[-1], group.levels[:-1]
    return 1 + sum(one.told and one.second == level and one.within == within for one in differences)
