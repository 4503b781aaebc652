"""Differences between groups of runs, in words and for programs."""

from itertools import groupby

from .. import __version__
from ..columns import TERMINAL_WIDTH, aligned, wrapped
from ..compare.compare import FALSE_ALARM, Comparison, Difference
from ..compare.figures import FigureKind
from ..compare.labels import level_text
from ..compare.selected import Choice
from ..compare.summary import GroupSummary
from ..serialize import JsonObject, plain, rounded
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
from .runs_summary import choice_json, group_decimals, group_json, runs_json

FORMAT = "debriscount/comparison/1"
#: Differences in words, before only those that can be told apart are said.
_MOST_SAID = 15
_CHANCE_DECIMALS = 6


def comparison_text(comparison: Comparison, choice: Choice, width: int = TERMINAL_WIDTH) -> str:
    """Return a comparison as ranked groups and a sentence a difference, in lines of at most ``width``.

    What makes it unlike with like comes first.
    """
    selected = comparison.summary.selected
    head = f"{figure_words(selected, choice)}, {keys_words([comparison.factor])}"
    head += f" within {keys_words(comparison.within)}" * bool(comparison.within)
    blocks = [wrapped(f"Take care: {warning}", "  ", width) for warning in comparison.warnings]
    blocks += [wrapped(head[0].upper() + head[1:] + ":", "  ", width)]
    for within, groups in groupby(comparison.summary.groups, lambda group: group.levels[:-1]):
        blocks += ["", *([", ".join(within)] * bool(within)), *_ranked(list(groups), comparison, width), ""]
        blocks += [wrapped(text, "  ", width) for text in _said(within, comparison)]
    together = len([one for one in comparison.differences if one.chance is not None])
    if together > 1:
        note = (
            f"{together} differences were looked at together: all that is said to differ is wrong in one case of"
            f" {round(1 / FALSE_ALARM)} at most. Each interval is that of its difference alone."
        )
        blocks += ["", wrapped(note, "", width)]
    doubtful = list(dict.fromkeys(name for group in comparison.summary.groups for name in group.doubtful))
    if doubtful:
        said = f"Doubtful, and counted all the same: {names_text(doubtful)}. --without-doubtful leaves them out."
        blocks.append(wrapped(said, "  ", width))
    blocks += [wrapped(sentence, "  ", width) for sentence in left_out_text(selected)]
    return "\n".join(blocks) + "\n"


def _ranked(groups: list[GroupSummary], comparison: Comparison, width: int) -> list[str]:
    """Table of the groups, the largest mean first; a rank that several share has an equals sign."""
    ranks = [comparison.ranks[group.levels] for group in groups]
    rows = [["", "rank", "runs", "mean", "95 % interval"]]
    for rank, group in sorted(zip(ranks, groups, strict=True), key=lambda one: (one[0], -one[1].mean)):
        decimals = group_decimals(group)
        mean = mean_text(group.mean, group.at_ceiling, decimals, comparison.summary.kind)
        shared = "=" * (ranks.count(rank) > 1)
        interval = range_text(group.interval95, decimals)
        rows.append([group.levels[-1], f"{rank}{shared}", str(group.n), mean, interval])
    return aligned(rows, width)


def _said(within: tuple[str, ...], comparison: Comparison) -> list[str]:
    differences = [one for one in comparison.differences if one.within == within]
    if len(differences) <= _MOST_SAID:
        return [sentence(one, comparison) for one in differences]
    told = [sentence(one, comparison) for one in differences if one.told]
    rest = len(differences) - len(told)
    return [*told, f"{plural(rest, 'other pair')} cannot be told apart; --json gives all."]


def sentence(difference: Difference, comparison: Comparison) -> str:
    """A difference in words.

    "brush A picked up 5.6 points more than brush B (2.1 to 9.1)." "brush A and brush B cannot be told apart with 3 runs
    each (-1.2 to 4.0); about 9 each would tell 3 points."
    """
    kind, factor = comparison.summary.kind, comparison.factor
    first, second = level_text(factor, difference.first), level_text(factor, difference.second)
    if difference.interval95 is None:
        return f"{first} and {second} cannot be told apart: {_too_few(difference)}."
    decimals = decimals_by(difference.interval95)
    interval = range_text(difference.interval95, decimals)
    if difference.told:
        return _told(difference, kind, first, second, decimals) + f" ({_bounded(difference, interval)})."
    if difference.bound == "unknown":
        return (
            f"{first} and {second} cannot be told apart: both left next to nothing. More debris, or debris that is"
            " harder to pick up, tells more."
        )
    alone = difference.chance is not None and difference.chance < FALSE_ALARM
    among = ", which by itself would do but not among so many" if alone else ""
    said = f"{first} and {second} cannot be told apart with {_runs(difference)} ({interval}{among})"
    if difference.more_runs is None:
        return f"{said}."
    wanted = f"{comparison.wanted:g} {unit_of_difference(kind)}".rstrip()
    if (difference.paired or min(difference.n)) >= difference.more_runs:
        return f"{said}; {wanted} would most likely have been told."
    each = "blocks" if difference.paired is not None else "each"
    return f"{said}; about {difference.more_runs} {each} would tell {wanted}."


def _told(difference: Difference, kind: FigureKind, first: str, second: str, decimals: int) -> str:
    by = " ".join(filter(None, [number_text(difference.value, decimals), unit_of_difference(kind)]))
    bound = f"{difference.bound} " if difference.bound in ("at least", "at most") else ""
    if kind.name in ("pickup", "scale-pickup"):
        return f"{first} picked up {bound}{by} more than {second}"
    return f"{first}: {kind.name.replace('-', ' ')} is {bound}{by} more than with {second}"


def _bounded(difference: Difference, interval: str) -> str:
    blocks = f", in {plural(difference.paired, 'block')}" if difference.paired is not None else ""
    return f"{interval}{blocks}"


def _too_few(difference: Difference) -> str:
    if difference.paired is not None:
        return "it takes two blocks to compare within blocks"
    return "one run does not say how it would repeat"


def _runs(difference: Difference) -> str:
    if difference.paired is not None:
        return plural(difference.paired, "block")
    first, second = difference.n
    return f"{plural(first, 'run')} each" if first == second else f"{first} and {second} runs"


def comparison_json(comparison: Comparison, choice: Choice) -> JsonObject:
    """Return a comparison as plain JSON values; what cannot be known is None."""
    summary = comparison.summary
    keys = summary.selected.keys
    return {
        "format": FORMAT,
        "version": __version__,
        "figure": summary.kind.name,
        "unit": summary.kind.unit,
        **choice_json(choice),
        "factor": comparison.factor,
        "within": list(comparison.within),
        "wanted": plain(comparison.wanted),
        "power": plain(comparison.power),
        "groups": [{"rank": comparison.ranks[group.levels], **group_json(group, keys)} for group in summary.groups],
        "differences": [_difference_json(one, comparison) for one in comparison.differences],
        "warnings": list(comparison.warnings),
        "left_out": dict(summary.selected.left_out),
        "runs": runs_json(summary),
    }


def _difference_json(difference: Difference, comparison: Comparison) -> JsonObject:
    return {
        "within": dict(zip(comparison.within, difference.within, strict=True)),
        "first": difference.first,
        "second": difference.second,
        "n": list(difference.n),
        "difference": plain(difference.value),
        "bound": difference.bound or None,
        "interval95": plain(difference.interval95, "interval95"),
        "blocks": difference.paired,
        "chance": rounded(difference.chance, _CHANCE_DECIMALS),
        "adjusted_chance": rounded(difference.adjusted, _CHANCE_DECIMALS),
        "told_apart": difference.told,
        "runs_needed": difference.more_runs,
        "sentence": sentence(difference, comparison),
    }
