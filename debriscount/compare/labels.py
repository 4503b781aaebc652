"""What sets runs apart: machine, settings, floor, debris and the like, as words by which they are grouped."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from pathlib import Path

from ..campaign.records import FiledRun, RunRecord
from ..errors import CompareError
from ..printable import printable

#: Where a run says nothing about something.
UNSAID = "\N{EN DASH}"
SETTING = "setting."
#: What a run as a whole has; "setting" stands for all settings together.
RUN_KEYS: Mapping[str, Callable[[RunRecord], str]] = {
    "machine": lambda run: run.machine,
    "software": lambda run: run.software,
    "setting": lambda run: ", ".join(f"{name}={value}" for name, value in sorted(run.settings.items())),
    "floor": lambda run: run.floor,
    "patch": lambda run: run.patch.name,
    "debris": lambda run: " + ".join(sorted(debris.name or debris.kind for debris in run.debris)),
    "batch": lambda run: " + ".join(sorted(debris.batch for debris in run.debris if debris.batch)),
    "block": lambda run: run.block,
    "date": lambda run: run.when[:10],
}
#: What only its figures have.
FIGURE_KEYS = ("zone", "kind", "pass")


@dataclass(frozen=True, slots=True, eq=False)
class CampaignRun:
    """A run of one of the campaigns that are looked at together; its name tells it from all others."""

    run: FiledRun
    campaign: str
    name: str

    def label(self, key: str) -> str:
        """What the run is by a key, such as "machine" or "setting.brush"; a dash where nothing is said."""
        if key == "campaign":
            return self.campaign
        if key.startswith(SETTING):
            return self.run.record.settings.get(key.removeprefix(SETTING), UNSAID)
        return RUN_KEYS[key](self.run.record) or UNSAID


def campaign_runs(campaigns: Mapping[Path, Sequence[FiledRun]]) -> list[CampaignRun]:
    """Return the runs of several campaigns, each under a name of its own: its number, or with the campaign before it.

    A campaign is named after its folder; of two folders with one name, both are named in full.
    """
    short = [folder.resolve().name for folder in campaigns]
    runs = []
    for folder, name in zip(campaigns, short, strict=True):
        campaign = name if short.count(name) == 1 else str(folder)
        for run in campaigns[folder]:
            number = str(run.record.run)
            runs.append(CampaignRun(run, campaign, number if len(short) == 1 else f"{campaign}/{number}"))
    return runs


def check_keys(keys: Iterable[str], runs: Sequence[CampaignRun], extra: Sequence[str] = FIGURE_KEYS) -> tuple[str, ...]:
    """Return keys as they are, each once, if runs can be grouped by them.

    Raises
    ------
    CompareError
        A key is unknown, or no run has such a setting. The message names the nearest, or all.
    """
    settings = sorted({f"{SETTING}{name}" for run in runs for name in run.run.record.settings})
    known = [*RUN_KEYS, "campaign", *extra, *settings]
    for key in keys:
        if key not in known:
            near = get_close_matches(key, known, n=1)
            advice = f"Did you mean {near[0]}?" if near else f"Give one of: {', '.join(known)}."
            raise CompareError(f'runs cannot be told apart by "{printable(key, 60)}". {advice}')
    return tuple(dict.fromkeys(keys))


def level_text(key: str, level: str) -> str:
    """A level with what it is one of, for sentences: "brush rubber", "machine A"."""
    return f"{key.removeprefix(SETTING)} {printable(level)}"
