"""Means of groups of runs, how far they are known, and which runs stand apart."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..arrays import Floats
from ..stats.outliers import Farthest, cochran, grubbs
from ..stats.quantity import Quantity
from ..stats.repeats import LIMIT_FACTOR, mean_and_spread, mean_of, pooled
from .figures import CEILING_PERCENT, FigureKind
from .labels import CampaignRun
from .selected import Choice, Item, Selected, select

#: What chance does in less than so many cases is shown: a straggler of ISO 5725-2, 7.3.2, and an outlier.
STRAGGLER, OUTLIER = 0.05, 0.01


@dataclass(frozen=True, slots=True)
class Odd:
    """A run or a group that stands apart: its name and how often chance alone does as much."""

    name: str
    chance: float

    @property
    def outlier(self) -> bool:
        """Whether it is an outlier, and not only a straggler, of ISO 5725-2."""
        return self.chance < OUTLIER


@dataclass(frozen=True, slots=True, kw_only=True)
class GroupSummary:
    """Figures of one group of runs, in the unit of the figure; what cannot be known is None.

    ``mean`` is that of what was promised at least where ``at_ceiling`` runs, counted, are told as "more than" alone:
    the true mean lies above it. ``interval95`` says how far the mean of many such runs is known; it holds for whatever
    the truth of those runs is, and ends at 100 %. ``sd`` is the spread of single runs, None where a run is at the
    ceiling. ``u`` is the mean (root mean square) measurement uncertainty of a run, ``explained`` the share of the
    runs' variance that it explains, 0 to 1. ``near_ceiling`` says that two standard deviations above the mean lies
    100 %, so that spreads are not comparable with those lower down.
    """

    levels: tuple[str, ...]
    items: tuple[Item, ...]
    mean: float
    sd: float | None
    interval95: tuple[float, float] | None
    smallest: float
    largest: float
    u: float | None
    explained: float | None
    at_ceiling: int
    near_ceiling: bool
    odd: Odd | None

    @property
    def n(self) -> int:
        """Number of runs."""
        return len(self.items)

    @property
    def limit(self) -> float | None:
        """Repeatability limit r = 2.8 s_r: two such runs differ by more in 5 % of cases (ISO 5725-6)."""
        return None if self.sd is None else LIMIT_FACTOR * self.sd

    @property
    def doubtful(self) -> tuple[str, ...]:
        """Names of the runs whose figure is doubtful."""
        return tuple(item.run.name for item in self.items if item.doubtful)


@dataclass(frozen=True, slots=True, kw_only=True)
class Summary:
    """Groups of runs, and their common repeatability.

    ``repeatability`` is the pooled standard deviation within groups with ``dof`` degrees of freedom, of the groups
    that no run of is at the ceiling; None where no group has repeats. ``odd`` is the group that scatters more than the
    others.
    """

    selected: Selected
    groups: tuple[GroupSummary, ...]
    repeatability: float | None
    dof: int
    odd: Odd | None

    @property
    def kind(self) -> FigureKind:
        """What the figure is."""
        return self.selected.kind

    @property
    def limit(self) -> float | None:
        """Repeatability limit of all groups together."""
        return None if self.repeatability is None else LIMIT_FACTOR * self.repeatability


def summarise(runs: Sequence[CampaignRun], keys: Sequence[str] = (), choice: Choice | None = None) -> Summary:
    """Summarise a figure of runs, group by group.

    Parameters
    ----------
    runs : sequence of CampaignRun
        Of one campaign or several.
    keys : sequence of str
        What the groups are by, such as "machine" or "setting.brush"; none for all runs together.
    choice : Choice, optional
        The figure; the pickup of the patch after the last pass if not given.

    Returns
    -------
    Summary

    Raises
    ------
    CompareError
        As `select` says.
    """
    selected = select(runs, keys, choice or Choice())
    groups = tuple(_summary(selected, levels, items) for levels, items in selected.groups.items())
    repeated = [group for group in groups if group.sd is not None]
    common = pooled([group.sd or 0.0 for group in repeated], [group.n - 1 for group in repeated])
    return Summary(
        selected=selected,
        groups=groups,
        repeatability=None if common is None else common[0],
        dof=0 if common is None else common[1],
        odd=_odd_group(repeated),
    )


def ranges(items: Sequence[Item]) -> tuple[Floats, Floats]:
    """Between what the runs' figures lie, shape (N,) each: both the same, but for those told as "more than"."""
    low, high = np.array([item.figure.range for item in items], float).reshape(-1, 2).T
    return low, high


def _summary(selected: Selected, levels: tuple[str, ...], items: tuple[Item, ...]) -> GroupSummary:
    low, high = ranges(items)
    at_ceiling = sum(item.figure.at_least is not None for item in items)
    sd = mean_and_spread(low)[1] if len(items) > 1 and not at_ceiling else None
    u = [item.figure.u for item in items if item.figure.u is not None]
    u_mean = float(np.sqrt(np.mean(np.square(u)))) if len(u) == len(items) else None
    mean = float(low.mean())
    return GroupSummary(
        levels=levels,
        items=items,
        mean=mean,
        sd=sd,
        interval95=_interval(low, high, selected.kind.pickup),
        smallest=float(low.min()),
        largest=float(low.max()),
        u=u_mean,
        explained=None if u_mean is None or not sd else min(1.0, (u_mean / sd) ** 2),
        at_ceiling=at_ceiling,
        near_ceiling=selected.kind.pickup and sd is not None and mean + 2 * sd > CEILING_PERCENT,
        odd=None if at_ceiling else _named(grubbs(low), [item.run.name for item in items]),
    )


def _interval(low: Floats, high: Floats, pickup: bool) -> tuple[float, float] | None:
    """95 % interval of the mean, wide enough for both ends of what runs are known to lie between."""
    ends = [mean_of(low), mean_of(high)]
    known = [mean.interval95() for mean in ends if isinstance(mean, Quantity)]
    if not known:
        return None
    upper = max(end for _, end in known)
    return min(end for end, _ in known), min(upper, CEILING_PERCENT) if pickup else upper


def _named(found: Farthest | None, names: Sequence[str]) -> Odd | None:
    return Odd(names[found.index], found.chance) if found is not None and found.chance < STRAGGLER else None


def _odd_group(groups: Sequence[GroupSummary]) -> Odd | None:
    """The group that scatters more than the others, by Cochran's test for the mean number of runs in a group."""
    n = float(np.mean([group.n for group in groups])) if groups else 0.0
    found = cochran([group.sd or 0.0 for group in groups], n)
    return _named(found, [", ".join(group.levels) for group in groups])
