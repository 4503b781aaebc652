"""Means of groups of runs, for people and for programs."""

from collections.abc import Sequence

from .. import __version__
from ..columns import TERMINAL_WIDTH, aligned, wrapped
from ..compare.selected import Choice, Item
from ..compare.summary import GroupSummary, Odd, Summary
from ..compare.tidy import run_row
from ..serialize import JsonObject, plain, rounded
from .rounding import MORE_THAN, more_than_text
from .run_words import (
    decimals_by,
    figure_words,
    keys_words,
    left_out_text,
    mean_text,
    names_text,
    number_text,
    plural,
    range_text,
    unit_of_difference,
)

FORMAT = "debriscount/summary/1"
#: Chances are told to the sixth decimal.
_CHANCE_DECIMALS = 6


def summary_text(summary: Summary, choice: Choice, width: int = TERMINAL_WIDTH) -> str:
    """Return a summary as a table and sentences for the terminal, in lines of at most ``width``."""
    selected = summary.selected
    counted = len({item.run.name for group in summary.groups for item in group.items})
    head = f"{figure_words(selected, choice)}{f' by {keys_words(selected.keys)}' * bool(selected.keys)}: "
    head = head[0].upper() + head[1:] + plural(counted, "run")
    rows = [["", "runs", "mean", "95 % interval", "sd", "r", "smallest", "largest", "u"]]
    rows += [_row(group, summary) for group in summary.groups]
    unit = unit_of_difference(summary.kind)
    legend = (
        f"sd: standard deviation of single runs; r: two such runs differ by more in 5 % of cases; u: measurement"
        f" uncertainty of a run{f', all in {unit}' * bool(unit)}, with the share of the runs' spread that it explains."
    )
    said = [*_sentences(summary), *left_out_text(selected)]
    blocks = [wrapped(head, "  ", width), "", *aligned(rows, width), wrapped(legend, "", width)]
    return "\n".join([*blocks, *([""] * bool(said)), *(wrapped(sentence, "  ", width) for sentence in said)]) + "\n"


def group_name(group: GroupSummary) -> str:
    """Levels of a group; "all" where there is one group of all."""
    return ", ".join(group.levels) or "all"


def _row(group: GroupSummary, summary: Summary) -> list[str]:
    decimals = group_decimals(group)
    smallest = min(group.items, key=lambda item: item.figure.range[0])
    largest = max(group.items, key=lambda item: item.figure.range[0])
    u = number_text(group.u, decimals_by(None, group.u))
    explained = "" if group.explained is None else f" ({100 * group.explained:.0f} %)"
    return [
        group_name(group),
        str(group.n),
        mean_text(group.mean, group.at_ceiling, decimals, summary.kind),
        range_text(group.interval95, decimals),
        number_text(group.sd, decimals_by(None, group.sd)),
        number_text(group.limit, decimals_by(None, group.sd)),
        _single(smallest),
        _single(largest),
        u + explained,
    ]


def group_decimals(group: GroupSummary) -> int:
    """Decimals of a group's figures, by how far its mean is known."""
    return decimals_by(group.interval95, group.sd, None if group.u is None else 2 * group.u)


def _single(item: Item) -> str:
    low, _ = item.figure.range
    if item.figure.at_least is not None:
        return more_than_text(low).replace(MORE_THAN, ">").removesuffix(" %")
    return number_text(low, decimals_by(item.figure.interval95))


def _sentences(summary: Summary) -> list[str]:
    unit = unit_of_difference(summary.kind)
    said = []
    if summary.repeatability and len(summary.groups) > 1:
        decimals = decimals_by(None, summary.repeatability)
        said.append(
            f"Within all groups together, single runs scatter by {number_text(summary.repeatability, decimals)} {unit}"
            f" ({summary.dof} degrees of freedom), and r is {number_text(summary.limit, decimals)} {unit}."
        )
    if summary.odd is not None:
        said.append(f"{summary.odd.name} scatters more than the other groups ({_how_odd(summary.odd, 'Cochran')}).")
    for group in summary.groups:
        said += _group_sentences(group)
    doubtful = list(dict.fromkeys(name for group in summary.groups for name in group.doubtful))
    if doubtful:
        said.append(f"Doubtful, and counted all the same: {names_text(doubtful)}. --without-doubtful leaves them out.")
    single = [group_name(group) for group in summary.groups if group.n == 1]
    if single:
        said.append(f"One run does not say how it would repeat: {names_text(single)}.")
    return said


def _group_sentences(group: GroupSummary) -> list[str]:
    name, said = group_name(group), []
    if group.odd is not None:
        said.append(
            f"{name}: run {group.odd.name} stands apart from the others ({_how_odd(group.odd, 'Grubbs')}). Look into"
            " it; it is counted."
        )
    if group.at_ceiling:
        said.append(
            f"{name}: {group.at_ceiling} of {plural(group.n, 'run')} left next to nothing, so that the mean is told as"
            " more than what is sure, and no spread is given. More debris, or debris that is harder to pick up, tells"
            " more."
        )
    elif group.near_ceiling:
        said.append(
            f"{name}: so near to 100 % runs scatter less than lower down. To compare, look at what was left:"
            " --figure left-area."
        )
    return said


def _how_odd(odd: Odd, test: str) -> str:
    often = "less than 0.1" if odd.chance < 1e-3 else f"{100 * odd.chance:.1g}"
    return f"{test}: chance does as much in {often} % of cases, {'an outlier' if odd.outlier else 'a straggler'}"


def summary_json(summary: Summary, choice: Choice) -> JsonObject:
    """Return a summary as plain JSON values; what cannot be known is None."""
    selected = summary.selected
    return {
        "format": FORMAT,
        "version": __version__,
        "figure": summary.kind.name,
        "unit": summary.kind.unit,
        **choice_json(choice),
        "by": list(selected.keys),
        "groups": [group_json(group, selected.keys) for group in summary.groups],
        "repeatability": plain(summary.repeatability),
        "repeatability_limit": plain(summary.limit),
        "dof": summary.dof,
        "scatters_most": _odd_json(summary.odd),
        "left_out": dict(selected.left_out),
        "runs": runs_json(summary),
    }


def choice_json(choice: Choice) -> JsonObject:
    """Return what was looked at."""
    return {
        "zones": None if choice.zones is None else list(choice.zones),
        "kind": choice.kind,
        "pass": choice.number,
        "without_doubtful": choice.without_doubtful,
        "without": list(choice.without),
    }


def group_json(group: GroupSummary, keys: Sequence[str]) -> JsonObject:
    """Return a group as plain JSON values, in the unit of the figure."""
    return {
        "group": dict(zip(keys, group.levels, strict=True)),
        "n": group.n,
        "mean": plain(group.mean),
        "more_than": group.at_ceiling > 0,
        "sd": plain(group.sd),
        "interval95": plain(group.interval95, "interval95"),
        "repeatability_limit": plain(group.limit),
        "smallest": plain(group.smallest),
        "largest": plain(group.largest),
        "u": plain(group.u),
        "explained": plain(group.explained),
        "at_ceiling": group.at_ceiling,
        "near_ceiling": group.near_ceiling,
        "stands_apart": _odd_json(group.odd),
        "doubtful": list(group.doubtful),
        "runs": [item.run.name for item in group.items],
    }


def runs_json(summary: Summary) -> list[JsonObject]:
    """Return the figures that were summarised, a row each as in the table of all figures."""
    return [run_row(item.run, item.figure) for group in summary.groups for item in group.items]


def _odd_json(odd: Odd | None) -> JsonObject | None:
    if odd is None:
        return None
    return {"name": odd.name, "chance": rounded(odd.chance, _CHANCE_DECIMALS), "outlier": odd.outlier}
