"""Bars of machines and settings beside each other, zone by zone: what runs made alike picked up on average."""

from collections.abc import Sequence
from functools import partial

from ..page.side_by_side import GroupMean, means_by_zone
from ..page.sources import PageRun
from .bars import Bar, draw_bars
from .frame import Frame
from .pictures import Still

#: More bars in one frame are too thin to be read from a chair.
MOST = 10


def compared_stills(runs: Sequence[PageRun], frame: Frame) -> dict[str, Still]:
    """A still a zone, by name, with a bar for each machine and setting; none of a single run.

    Parameters
    ----------
    runs : sequence of PageRun
        Those of a campaign, or several results, each of which is then a machine of its own.
    frame : Frame
        Their size.
    """
    stills: dict[str, Still] = {}
    names = list(dict.fromkeys(run.campaign for run in runs if run.campaign))
    for title, groups in means_by_zone(runs).items():
        parts = [groups[first : first + MOST] for first in range(0, len(groups), MOST)]
        for number, part in enumerate(parts, start=1):
            place = "-".join(title.lower().split())
            name = f"compared-{place}{f'-{number}' if len(parts) > 1 else ''}"
            remark = ", ".join([*names, _runs_words(part)])
            bars = {group.label: _bar(group) for group in part}
            several = any(group.runs > 1 for group in part)
            line = "95 % interval of the mean" if several else "95 % interval"
            stills[name] = partial(draw_bars, frame, f"Picked up: {title.lower()}", remark, bars, line)
    return stills


def _runs_words(groups: Sequence[GroupMean]) -> str:
    """Of how many runs each bar is the mean."""
    counts = sorted({group.runs for group in groups})
    if counts == [1]:
        return "one run each"
    many = f"{counts[0]}" if len(counts) == 1 else f"{counts[0]} to {counts[-1]}"
    return f"means of {many} runs each"


def _bar(group: GroupMean) -> Bar:
    return Bar(value=group.mean, interval95=group.interval95, words=group.words, doubtful=group.doubtful)
