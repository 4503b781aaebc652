"""Runs side by side: by zone, kind and pass, every run a dot, and what is said of them together."""

from collections.abc import Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass

from ..columns import csv_text
from ..compare.compare import Comparison, Difference, compare
from ..compare.labels import SETTING, UNSAID, CampaignRun
from ..compare.selected import Choice, Item
from ..compare.summary import GroupSummary, Summary, summarise
from ..compare.tidy import columns, table_rows
from ..errors import CompareError
from ..printable import printable
from ..report.rounding import UNKNOWN, interval_text, more_than_text, percent_text
from ..report.run_words import mean_text, number_text, plural, range_text, unit_of_difference
from ..report.runs_comparison import sentence
from ..report.runs_summary import group_decimals
from ..stats.proportion import Interval
from .charts import DotChart, Figure, Group, dot_chart
from .sources import PageRun
from .words import zone_title

#: By what runs are grouped, where they differ in it; settings come after the machine.
_BEFORE_SETTINGS, _AFTER_SETTINGS = ("campaign", "machine"), ("floor", "debris", "patch")
#: Groups that are put into a sentence each; of more, the table tells.
_MOST_SENTENCES = 12


@dataclass(frozen=True, slots=True)
class Part:
    """Charts under one heading."""

    title: str
    charts: tuple[DotChart, ...]


@dataclass(frozen=True, slots=True)
class Repeats:
    """A line of the table of repeats."""

    group: str
    n: str
    mean: str
    interval: str
    sd: str


@dataclass(frozen=True, slots=True, kw_only=True)
class SideBySide:
    """What a page says of its runs together; ``table`` is every figure as CSV.

    ``found`` are the differences that can be told, ``more`` the means and what cannot be told apart. ``means`` is
    whether any group holds more than one run.
    """

    table: str
    parts: tuple[Part, ...] = ()
    found: tuple[str, ...] = ()
    more: tuple[str, ...] = ()
    means: bool = False
    repeats: tuple[str, ...] = ()
    rows: tuple[Repeats, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class GroupMean:
    """Mean pickup of runs made alike, percent, or that of a single one; ``words`` is the figure as it is written."""

    label: str
    runs: int
    mean: float
    interval95: Interval | None
    words: str
    doubtful: bool


def means_by_zone(runs: Sequence[PageRun]) -> dict[str, tuple[GroupMean, ...]]:
    """Means of the groups that runs fall into, machines and settings, by the zone's heading; none of a single run."""
    together = _comparable([CampaignRun(run.filed, run.campaign, run.name) for run in runs])
    if len(together) < 2:
        return {}
    keys, found = _keys(together), {}
    for title, groups, summary in _groups_by(together, keys, "zone", Choice()):
        found[title] = tuple(
            GroupMean(
                label=_label(keys, group.levels[: len(keys)]) or "All runs",
                runs=group.n,
                mean=group.mean,
                interval95=group.interval95 if group.n > 1 else group.items[0].figure.interval95,
                words=mean_text(group.mean, group.at_ceiling, group_decimals(group), summary.kind),
                doubtful=bool(group.doubtful),
            )
            for group in groups
        )
    return found


def _comparable(runs: list[CampaignRun]) -> list[CampaignRun]:
    """Runs that are compared: a result in no campaign says nothing of its machine, and is left out beside campaigns."""
    return [run for run in runs if run.campaign] or runs


def side_by_side(runs: Sequence[PageRun]) -> SideBySide:
    """Put runs side by side; of a single one only the table is made."""
    together = [CampaignRun(run.filed, run.campaign, run.name) for run in runs]
    table = figures_table(together)
    together = _comparable(together)
    if len(together) < 2:
        return SideBySide(table=table)
    keys = _keys(together)
    whole = _summary(together, keys, Choice())
    if whole is None:
        return SideBySide(table=table)
    # Over all levels of the others first, then within each of them.
    asked: list[tuple[str, tuple[str, ...]]] = [(factor, ()) for factor in keys]
    asked += [(factor, tuple(key for key in keys if key != factor)) for factor in keys] if len(keys) > 1 else []
    comparisons = [found for one in asked if (found := _comparison(together, *one)) is not None]
    # What cannot be told over all levels is not said again of each.
    said = [
        (one.told, _difference(one, found))
        for found in comparisons
        for one in found.differences
        if one.told or not found.within
    ]
    means = any(group.n > 1 for group in whole.groups)
    warnings = [f"Take care: {warning}" for found in comparisons for warning in found.warnings]
    return SideBySide(
        table=table,
        parts=tuple(_parts(together, keys, whole)),
        found=tuple(words for told, words in said if told) or _nothing_told(said),
        more=(
            *(_means(whole) if means else ()),
            *[words for told, words in said if not told][:_MOST_SENTENCES],
            *dict.fromkeys(warnings),
        ),
        means=means,
        repeats=tuple(_repeats(whole)),
        rows=tuple(_rows(whole)) if means else (),
    )


def figures_table(runs: Sequence[CampaignRun]) -> str:
    """Every figure of every run as CSV; no cell of it is a formula."""
    names = columns(runs)
    rows = [[row.get(name) for name in names] for row in table_rows(runs)]
    return csv_text([names, *([printable(cell) if isinstance(cell, str) else cell for cell in row] for row in rows)])


def _keys(runs: Sequence[CampaignRun]) -> tuple[str, ...]:
    """By what the runs differ; the machine if by nothing."""
    settings = sorted({f"{SETTING}{name}" for run in runs for name in run.run.record.settings})
    keys = [*_BEFORE_SETTINGS, *settings, *_AFTER_SETTINGS]
    differ = [key for key in keys if len({run.label(key) for run in runs}) > 1]
    # The machines of runs without a campaign are the runs themselves.
    return ("machine",) if all(not run.campaign for run in runs) else tuple(differ) or ("machine",)


def _summary(runs: Sequence[CampaignRun], keys: Sequence[str], choice: Choice) -> Summary | None:
    with suppress(CompareError):  # no run has the figure
        return summarise(runs, keys, choice)
    return None


def _comparison(runs: Sequence[CampaignRun], factor: str, within: tuple[str, ...]) -> Comparison | None:
    """Differences by a key within the levels of others; None where there is nothing to compare or no repeat."""
    with suppress(CompareError):
        found = compare(runs, factor, within)
        if any(one.interval95 is not None for one in found.differences):
            return found
    return None


def _difference(one: Difference, comparison: Comparison) -> str:
    words, within = sentence(one, comparison), _label(comparison.within, one.within)
    said = f"{within}: {words}" if within else words
    return f"{said[0].upper()}{said[1:]}"


def _nothing_told(said: Sequence[tuple[bool, str]]) -> tuple[str, ...]:
    if not said:
        return ()
    which = "The difference that was" if len(said) == 1 else f"None of the {len(said)} differences that were"
    return (f"{which} looked at can{'not' if len(said) == 1 else ''} be told from chance with so few runs.",)


def _label(keys: Sequence[str], levels: Sequence[str]) -> str:
    """A group in words: "A, brush rubber"."""
    said = []
    for key, level in zip(keys, levels, strict=True):
        if level != UNSAID and key not in ("zone", "kind", "pass"):
            said.append(f"{key.removeprefix(SETTING)} {level}" if key.startswith(SETTING) else level)
    return ", ".join(said)


def _parts(runs: Sequence[CampaignRun], keys: tuple[str, ...], whole: Summary) -> Iterator[Part]:
    charts = [_chart("Whole patch", keys, whole.groups, whole)]
    charts += [chart for chart in _by(runs, keys, "zone", Choice()) if chart.title != "Whole patch"]
    yield Part("By zone, after the last pass, percent picked up", tuple(chart for chart in charts if chart is not None))
    for key, title in (("kind", "By debris"), ("pass", "By pass")):
        found = list(_by(runs, keys, key, Choice()))
        if len(found) > 1:
            yield Part(f"{title}, whole patch, percent picked up", tuple(found))
    scale = _summary(runs, keys, Choice(figure="scale-pickup"))
    if scale is not None and whole.kind.name != "scale-pickup":
        chart = _chart("Whole patch, by scale", keys, scale.groups, scale)
        if chart is not None:
            yield Part("By scale, percent picked up", (chart,))


def _by(runs: Sequence[CampaignRun], keys: tuple[str, ...], key: str, choice: Choice) -> Iterator[DotChart]:
    """A chart a zone, kind or pass."""
    for title, groups, found in _groups_by(runs, keys, key, choice):
        chart = _chart(title, (*keys, key), groups, found)
        if chart is not None:
            yield chart


def _groups_by(
    runs: Sequence[CampaignRun], keys: tuple[str, ...], key: str, choice: Choice
) -> Iterator[tuple[str, list[GroupSummary], Summary]]:
    """Groups of each zone, kind or pass under its heading; not of the margin."""
    found = _summary(runs, [*keys, key], choice)
    if found is None:
        return
    levels: dict[str, list[GroupSummary]] = {}
    for group in found.groups:
        levels.setdefault(group.levels[-1], []).append(group)
    for level, groups in levels.items():
        if level != "margin":
            titles = {"zone": zone_title(level), "kind": level, "pass": f"After pass {level}"}
            yield titles[key], groups, found


def _chart(title: str, keys: Sequence[str], groups: Sequence[GroupSummary], summary: Summary) -> DotChart | None:
    return dot_chart(
        title,
        [
            Group(
                label=_label(keys, group.levels) or "All runs",
                figures=tuple(_drawn(item) for item in group.items),
                mean=_mean(group, summary) if group.n > 1 else None,
            )
            for group in groups
        ],
    )


def _pickup(item: Item) -> str:
    figure = item.figure
    if figure.at_least is not None:
        return more_than_text(figure.at_least)
    return percent_text(figure.value) + ("" if figure.interval95 is None else f" ({interval_text(figure.interval95)})")


def _drawn(item: Item) -> Figure:
    figure = item.figure
    promised = figure.at_least is not None
    return Figure(
        words=f"{item.run.name}: {_pickup(item)}{', doubtful' if item.doubtful else ''}",
        value=figure.range[0],
        interval95=None if promised else figure.interval95,
        doubtful=item.doubtful,
        at_least=promised,
    )


def _mean(group: GroupSummary, summary: Summary) -> Figure:
    return Figure(words=f"mean {_mean_words(group, summary)}", value=group.mean, interval95=group.interval95)


def _mean_words(group: GroupSummary, summary: Summary) -> str:
    decimals = group_decimals(group)
    interval = "" if group.interval95 is None else f" ({range_text(group.interval95, decimals)})"
    return f"{mean_text(group.mean, group.at_ceiling, decimals, summary.kind)}{interval}"


def _means(whole: Summary) -> Iterator[str]:
    """A sentence a group."""
    if len(whole.groups) > _MOST_SENTENCES:
        yield f"{plural(len(whole.groups), 'group')} of runs stand side by side below."
        return
    for group in whole.groups:
        label = _label(whole.selected.keys, group.levels) or "All runs"
        words = _mean_words(group, whole)
        if group.n == 1:
            item = group.items[0]
            yield f"{label}: {_pickup(item)} picked up, in one run{'; doubtful' if item.doubtful else ''}."
        else:
            doubt = f"; {len(group.doubtful)} of them doubtful" if group.doubtful else ""
            yield f"{label}: {words} picked up on average, in {group.n} runs{doubt}."


def _repeats(whole: Summary) -> Iterator[str]:
    if not any(group.n > 1 for group in whole.groups):
        return
    if whole.repeatability is None:
        yield "No spread can be told: runs that left next to nothing have none."
    else:
        unit = unit_of_difference(whole.kind)
        yield (
            f"Runs made alike scatter with a standard deviation of {whole.repeatability:.1f} {unit}"
            f" ({whole.dof} degrees of freedom): in 5 % of cases two differ by more than {whole.limit:.1f} {unit}."
        )
    if whole.odd is not None:
        yield f"{whole.odd.name} scatters more than the other groups."
    for group in whole.groups:
        if group.odd is not None:
            label = _label(whole.selected.keys, group.levels) or "All runs"
            yield f"{label}: {group.odd.name} stands apart from the others; it is counted."


def _rows(whole: Summary) -> Iterator[Repeats]:
    for group in whole.groups:
        decimals = group_decimals(group)
        yield Repeats(
            group=_label(whole.selected.keys, group.levels) or "All runs",
            n=str(group.n),
            mean=mean_text(group.mean, group.at_ceiling, decimals, whole.kind),
            interval=UNKNOWN if group.n == 1 else range_text(group.interval95, decimals),
            sd=number_text(group.sd, decimals),
        )
