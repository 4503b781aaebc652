"""Runs side by side: by zone, kind and pass, every run a dot, and what is said of them together."""

import csv
import io
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

from ..printable import csv_cell
from .charts import DotChart, Group, dot_chart
from .sources import PageRun, Sources
from .words import drawn, zone_title

_HEADER = ("run", "machine", "settings", "floor", "date", "pass", "kind", "zone", "pickup_percent", "low95", "high95")
_HEADER += ("more_than_percent", "trust", "why")


@dataclass(frozen=True, slots=True)
class Part:
    """Charts under one heading."""

    title: str
    charts: tuple[DotChart, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class SideBySide:
    """What a page says of its runs together; ``table`` is every figure as CSV."""

    parts: tuple[Part, ...]
    table: str
    found: tuple[str, ...] = ()
    found_more: tuple[str, ...] = ()
    means: bool = False
    repeats: tuple[str, ...] = ()
    rows: tuple[object, ...] = field(default=())


def side_by_side(runs: Sequence[PageRun], sources: Sources) -> SideBySide:
    """Put runs side by side."""
    several = len(runs) > 1
    parts = tuple(_parts(runs)) if several else ()
    found = (f"{len(runs)} runs; each stands below with its pictures.",) if several else ()
    return SideBySide(parts=parts, table=figures_table(runs), found=found)


def _parts(runs: Sequence[PageRun]) -> Iterator[Part]:
    zones = list(dict.fromkeys(zone for run in runs for done in run.figures.passes[-1:] for zone in done.zones))
    charts = [_chart(zone_title(zone), runs, zone=zone) for zone in zones if zone != "margin"]
    yield Part("By zone, after the last pass, percent picked up", tuple(chart for chart in charts if chart))
    kinds = list(dict.fromkeys(kind for run in runs for done in run.figures.passes[-1:] for kind in done.kinds))
    if len(kinds) > 1:
        charts = [_chart(f"Whole patch, {kind}", runs, kind=kind) for kind in kinds]
        yield Part("By debris", tuple(chart for chart in charts if chart))
    passes = max((len(run.figures.passes) for run in runs), default=0)
    if passes > 1:
        charts = [_chart(f"Whole patch, after pass {n}", runs, number=n) for n in range(1, passes + 1)]
        yield Part("By pass", tuple(chart for chart in charts if chart))


def _chart(
    title: str, runs: Sequence[PageRun], zone: str = "patch", kind: str = "", number: int | None = None
) -> DotChart | None:
    groups: dict[str, list[object]] = {}
    for run in runs:
        for done in run.figures.passes[-1:] if number is None else run.figures.passes[number - 1 : number]:
            zones = done.kinds.get(kind, {}) if kind else done.zones
            figure = drawn(zones[zone], run.name) if zone in zones else None
            if figure is not None:
                groups.setdefault(group_label(run), []).append(figure)
    return dot_chart(title, [Group(label=label, figures=tuple(figures)) for label, figures in groups.items()])  # type: ignore[arg-type]


def group_label(run: PageRun) -> str:
    """What runs are put together by: machine and settings, or each run by itself."""
    about = run.about
    if about is None:
        return run.name
    settings = ", ".join(f"{name} {value}" for name, value in sorted(about.settings.items()))
    return f"{about.machine}{f', {settings}' if settings else ''}"


def figures_table(runs: Sequence[PageRun]) -> str:
    """Every pickup of every run as CSV; no cell of it is a formula."""
    out = io.StringIO()
    table = csv.writer(out, lineterminator="\n")
    table.writerow(_HEADER)
    for run in runs:
        about = run.about
        settings = "" if about is None else "; ".join(f"{k}={v}" for k, v in sorted(about.settings.items()))
        of_run = (
            run.name,
            *(("", "", "", "") if about is None else (about.machine, settings, about.floor, about.when[:10])),
        )
        for done in run.figures.passes:
            for kind, zones in [("all", done.zones), *done.kinds.items()]:
                for zone, figure in zones.items():
                    low, high = figure.interval95 or (None, None)
                    cells = (figure.pickup_percent, low, high, figure.more_than_percent, figure.trust, figure.why)
                    table.writerow([csv_cell(cell) for cell in (*of_run, done.number, kind, zone, *cells)])
    return out.getvalue()
