"""Whether groups of runs differ in more than what is compared."""

from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from itertools import islice

from ..flags import listed
from ..printable import printable
from .labels import SETTING, UNSAID, CampaignRun, level_text
from .summary import GroupSummary

#: What should be the same in all groups, and what a person calls it.
_SHOULD_BE_ALIKE = {
    "patch": "patch", "floor": "floor", "debris": "debris", "batch": "debris batch", "machine": "machine",
}  # fmt: skip
#: Shares of the groups' runs that differ by more are called different: one run in four of both.
_SHARE = 0.25
_MOST_LEVELS = 4


def unlike(factor: str, within: Sequence[str], groups: Sequence[GroupSummary]) -> list[str]:
    """Return a sentence for each thing in which the groups differ beside the factor.

    Parameters
    ----------
    factor : str
        What is compared; it and what goes with it by its nature is not told of.
    within : sequence of str
        Keys that are the same in all groups.
    groups : sequence of GroupSummary
        Of one comparison, one for each level of the factor.

    Returns
    -------
    list of str
    """
    if len(groups) < 2:
        return []
    names = [level_text(factor, group.levels[-1]) for group in groups]
    runs = [[item.run for item in group.items] for group in groups]
    said: list[str] = []
    for key, what in _SHOULD_BE_ALIKE.items():
        if key in (factor, *within) or _follows(key, factor):
            continue
        said += _differ(names, runs, lambda run, key=key: run.label(key), what, key)  # type: ignore[misc]
    said += _same_name(runs)
    said += _software(factor, names, runs)
    said += _settings(factor, within, names, runs)
    return said


def _follows(key: str, factor: str) -> bool:
    """Whether a thing differs by nature where the factor does."""
    return (key, factor) in {("batch", "debris"), ("machine", "software"), ("debris", "batch")}


def _differ(
    names: Sequence[str],
    runs: Sequence[Sequence[CampaignRun]],
    label: Callable[[CampaignRun], str],
    what: str,
    key: str,
) -> Iterator[str]:
    """Say where the levels of one thing differ between groups, or are mixed in different shares."""
    counts = [Counter(map(label, group)) for group in runs]
    known = sorted(set().union(*counts))
    if len(known) < 2:
        return
    if any(set(count) != set(counts[0]) for count in counts):
        each = "; ".join(f"{name}: {_levels(count)}" for name, count in islice(zip(names, counts, strict=True), 6))
        yield f"not like with like, {what} differs ({each}). What is told below may come from that."
        return
    shares = [[count[level] / count.total() for level in known] for count in counts]
    if any(max(column) - min(column) > _SHARE for column in zip(*shares, strict=True)):
        yield f"{what} is mixed in different shares. Compare within it: --within {key}."


def _levels(count: Counter[str]) -> str:
    levels = [printable(level) if level != UNSAID else "not said" for level in sorted(count)]
    return ", ".join(levels[:_MOST_LEVELS]) + (", …" if len(levels) > _MOST_LEVELS else "")


def _same_name(runs: Sequence[Sequence[CampaignRun]]) -> Iterator[str]:
    """Patch files of one name that are not the same: markers or zones were changed, or it is another patch."""
    files: dict[str, set[str]] = {}
    for group in runs:
        for run in group:
            files.setdefault(run.run.record.patch.name, set()).add(run.run.record.patch.sha256)
    for name, sums in files.items():
        if len(sums) > 1:
            yield (
                f'the patch file of "{printable(name)}" was changed between runs: {len(sums)} versions. Zones may not'
                " be the same; run remeasure --all measures all with one."
            )


def _software(factor: str, names: Sequence[str], runs: Sequence[Sequence[CampaignRun]]) -> Iterator[str]:
    """Software of one machine that differs between runs; different machines have different software anyhow."""
    if factor == "software":
        return
    machines = sorted({run.label("machine") for group in runs for run in group})
    for machine in machines:
        own = [[run for run in group if run.label("machine") == machine] for group in runs]
        having = [(name, group) for name, group in zip(names, own, strict=True) if group]
        versions = {run.label("software") for _, group in having for run in group}
        if len(versions) < 2:
            continue
        if len(having) > 1:
            yield from _differ(
                [name for name, _ in having], [group for _, group in having], lambda run: run.label("software"),
                f"software of machine {printable(machine)}", "software",
            )  # fmt: skip
        else:
            shown = listed([printable(version) for version in sorted(versions)])
            yield f"machine {printable(machine)} ran with different software ({shown}): not like with like."


def _settings(
    factor: str, within: Sequence[str], names: Sequence[str], runs: Sequence[Sequence[CampaignRun]]
) -> Iterator[str]:
    """Settings, other than the factor, that all groups have and that differ between them."""
    if factor == "setting":
        return
    in_group = [{name for run in group for name in run.run.record.settings} for group in runs]
    for setting in sorted(set.intersection(*in_group)):
        key = f"{SETTING}{setting}"
        if key in (factor, *within) or "setting" in within:
            continue
        yield from _differ(names, runs, lambda run, key=key: run.label(key), f"setting {setting}", key)  # type: ignore[misc]
