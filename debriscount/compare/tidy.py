"""One table of everything: a row a run, zone, kind, pass and figure."""

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from ..serialize import plain
from .figures import RunFigure, all_figures
from .labels import RUN_KEYS, SETTING, CampaignRun

#: Columns of the table and what they hold; settings have columns of their own, "setting.brush".
WORDS: Mapping[str, str] = {
    "campaign": "folder of the campaign",
    "run": "name of the run: its number, with the campaign before it where there are several",
    "date": "local day and time at which the run was made, ISO 8601",
    "machine": "the tester's own name of the machine",
    "software": "version of the machine's software",
    "setting": "one column for each setting of the machines, such as setting.brush; empty where a run has none",
    "floor": "the floor, by the tester's own name",
    "patch": "name of the patch",
    "debris": "kinds of debris that were strewn",
    "batch": "batches of the debris",
    "block": "block of a planned order that the run belongs to",
    "withdrawn": "why the run counts no more; empty where it does",
    "zone": "patch, open, edge, corner, margin or a zone of your own; empty for figures of the run as a whole",
    "kind": "kind of debris; all for all together",
    "pass": "number of the pass, counted from 1",
    "figure": "what the value is: pickup, gone, before-area, left-area, before-mass, left-mass, untouched,"
    " scale-pickup, scale-unaccounted, or a side measurement",
    "value": "best estimate, in the unit; empty where it cannot be known",
    "unit": "unit of value, low95, high95 and more_than",
    "low95": "lower end of the 95 % interval of this one measurement",
    "high95": "upper end of the 95 % interval of this one measurement",
    "more_than": "what is promised at least where next to nothing was left; the truth lies between it and 100 %",
    "trust": "sound, doubtful or not measurable",
    "why": "why the figure is not sound",
}
_BEFORE_SETTINGS = ("campaign", "run", "date", "machine", "software")
_OF_RUN = ("floor", "patch", "debris", "batch", "block")
_OF_FIGURE = ("zone", "kind", "pass", "figure", "value", "unit", "low95", "high95", "more_than", "trust", "why")


def columns(runs: Sequence[CampaignRun]) -> tuple[str, ...]:
    """Columns of the table, with one for each setting that any of the runs has."""
    settings = sorted({f"{SETTING}{name}" for run in runs for name in run.run.record.settings})
    return (*_BEFORE_SETTINGS, *settings, *_OF_RUN, "withdrawn", *_OF_FIGURE)


def table_rows(runs: Sequence[CampaignRun]) -> Iterator[dict[str, Any]]:
    """Return every figure of every run by column; what is not known is None, withdrawn runs are in it."""
    for run in runs:
        about = _about(run)
        for figure in all_figures(run.run):
            if figure.known or figure.trust or figure.why:
                yield {**about, **_figure(figure)}


def run_row(run: CampaignRun, figure: RunFigure) -> dict[str, Any]:
    """Return one figure of a run by column."""
    return {**_about(run), **_figure(figure)}


def _about(run: CampaignRun) -> dict[str, Any]:
    record = run.run.record
    return {
        "campaign": run.campaign,
        "run": run.name,
        "date": record.when,
        "machine": record.machine,
        "software": record.software or None,
        **{f"{SETTING}{name}": value for name, value in sorted(record.settings.items())},
        **{key: RUN_KEYS[key](record) or None for key in _OF_RUN},
        "withdrawn": None if record.withdrawn is None else record.withdrawn.why or "withdrawn",
    }


def _figure(figure: RunFigure) -> dict[str, Any]:
    low, high = figure.interval95 or (None, None)
    return {
        "zone": figure.zone or None,
        "kind": figure.kind or None,
        "pass": figure.number,
        "figure": figure.figure,
        "value": plain(figure.value),
        "unit": figure.unit,
        "low95": plain(low),
        "high95": plain(high),
        "more_than": plain(figure.at_least),
        "trust": figure.trust or None,
        "why": figure.why or None,
    }
