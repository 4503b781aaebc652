"""Puts a page together from runs and writes it: one HTML file that asks nothing of anyone."""

import base64
import hashlib
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from .. import __version__
from ..campaign.result_file import MeasurementRecord, result_figures
from ..inputs.save import refuse_existing, save_files
from ..made_with import made_with_text
from ..printable import printable
from ..report.folder import record_bytes
from ..report.rounding import UNKNOWN
from ..safety import MACHINE_OFF, MINERAL_DUST
from .data import archive, data_link
from .private import Shown, cleaned, cleaned_run, cleaned_table, photo_names
from .side_by_side import side_by_side
from .sources import RECORD, PageRun, Sources, damaged
from .views import View, run_views
from .words import RunWords, pickup_words, run_words

#: Characters of a name or note before its middle is left out.
_MOST_TEXT = 600
CAUTIONS = (
    f"Before you touch brush, nozzle, wheels or bin: {MACHINE_OFF}.",
    f"{MINERAL_DUST} Fine quartz sand and test dust can hold crystalline silica that harms the lungs.",
    "Scattered grains make a smooth floor slippery: keep people, children and pets away, and clear up at once.",
    "No broken glass, hot ash, liquids, or powders that ignite in a vacuum cleaner.",
    "Local rules and the instructions of the machine's maker come first.",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Run:
    """A run on the page."""

    id: str
    name: str
    label: str
    heading: str
    short: str
    about: str
    words: RunWords
    views: tuple[View, ...]
    no_pictures: str
    photos: tuple[Mapping[str, str], ...]
    budget: tuple[str, ...]
    notes: tuple[str, ...]


def write_page(sources: Sources, out: Path, shown: Shown, *, title: str = "", overwrite: bool = False) -> Path:
    """Write a page of runs.

    Parameters
    ----------
    sources : Sources
        The runs.
    out : Path
        The file.
    shown : Shown
        What of photos' times and names is shown.
    title : str
        Its heading; without, the campaigns' or the runs' names.
    overwrite : bool
        Whether a file that is there may be replaced.

    Returns
    -------
    Path
        ``out``.

    Raises
    ------
    OutputError
        The file is there already, or cannot be written.
    InputFileError
        A run's record or picture is damaged.
    """
    if not overwrite:
        refuse_existing([out])
    save_files({out: page_html(sources, shown, title=title).encode()}, overwrite=overwrite)
    return out


def page_html(sources: Sources, shown: Shown, *, title: str = "") -> str:
    """Return a page of runs; parameters and errors as `write_page`."""
    runs = [_clean(run, shown) for run in sources.runs]
    words = [_worded(run) for run in runs]
    views = run_views(runs)
    compared = side_by_side(runs)
    budget_sources = list(dict.fromkeys(source for one in words for source, _ in one.budget))
    shown_runs = [
        _Run(
            id=f"run-{number}",
            name=run.name,
            label=_label(run),
            heading=f"{run.name[0].upper()}{run.name[1:]}{f': {_label(run)}' if _label(run) else ''}",
            short=_short(run),
            about=_about(run),
            words=said,
            views=seen,
            no_pictures="" if seen else _why_no_pictures(run),
            photos=tuple(_photos(run)),
            budget=tuple(dict(said.budget).get(source, UNKNOWN) for source in budget_sources),
            notes=_notes(run),
        )
        for number, (run, said, seen) in enumerate(zip(runs, words, views, strict=True), start=1)
    ]
    files, records = _files(runs)
    packed = archive({**files, "figures.csv": compared.table.encode()}, records, shown, __version__)
    style, script = (Markup(_text(name)) for name in ("page.css", "page.js"))
    template = _environment().get_template("page.html")
    return template.render(
        policy=Markup(_policy(style, script)),
        style=style,
        script=script,
        title=title or _title(sources, runs),
        intro=_intro(runs),
        stem="debriscount",
        found=compared.found if len(runs) > 1 else [words[0].verdict],
        found_more=compared.more if len(runs) > 1 else words[0].sentences,
        runs=shown_runs,
        side_by_side=compared.parts,
        means=compared.means,
        repeats=compared.repeats,
        repeat_rows=compared.rows,
        unread=[f"{one.folder}: {one.reason}" for one in sources.unread],
        sources=budget_sources,
        versions=_versions(runs),
        cautions=CAUTIONS,
        archive=Markup(data_link(packed)),
        archive_kb=f"{len(packed) / 1000:.0f}",
        table=Markup(f"data:text/csv;charset=utf-8;base64,{base64.b64encode(compared.table.encode()).decode()}"),
        privacy=_privacy(shown),
    )


def _environment() -> Environment:
    """Templates in which every text is escaped and freed of marks that turn writing round."""

    def final(value: object) -> object:
        return printable(value, _MOST_TEXT) if isinstance(value, str) and not isinstance(value, Markup) else value

    return Environment(
        loader=PackageLoader("debriscount.page", "."),
        autoescape=True,
        finalize=final,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )


def _text(name: str) -> str:
    return (Path(__file__).parent / name).read_text(encoding="utf-8")


def _policy(style: str, script: str) -> str:
    """What a browser may load and run: the page's own style and script, pictures inside it, and nothing else."""
    sums = [base64.b64encode(hashlib.sha256(part.encode()).digest()).decode() for part in (style, script)]
    return (
        f"default-src 'none'; img-src data:; style-src 'sha256-{sums[0]}'; script-src 'sha256-{sums[1]}'; "
        "base-uri 'none'; form-action 'none'"
    )


def _clean(run: PageRun, shown: Shown) -> PageRun:
    """The run as it may leave the house."""
    try:
        names = photo_names(run.record, shown) if run.record else {}
        record = cleaned(run.record, names, shown)
        figures = result_figures(MeasurementRecord.model_validate(record)) if record else run.figures
        filed = replace(run.filed, record=cleaned_run(run.filed.record, shown), figures=figures)
    except (KeyError, TypeError, ValueError, AttributeError) as error:
        raise damaged(run.folder / RECORD, error) from None
    tables = {name: cleaned_table(text, names) for name, text in run.tables.items()}
    return replace(run, record=record, filed=filed, tables=tables)


def _worded(run: PageRun) -> RunWords:
    try:
        return run_words(run)
    except (KeyError, TypeError, ValueError, AttributeError) as error:
        raise damaged(run.folder / RECORD, error) from None


def _why_no_pictures(run: PageRun) -> str:
    if not run.record:
        return "This run was weighed only."
    return (
        "This result holds no pictures: an older version measured it, or they were not kept. Measuring again adds them."
    )


def _label(run: PageRun) -> str:
    about = run.about
    if about is None:
        return ""
    settings = ", ".join(f"{name} {value}" for name, value in sorted(about.settings.items()))
    return f"{about.machine}{f', {settings}' if settings else ''}"


def _short(run: PageRun) -> str:
    if not run.figures.passes:
        return "weighed only"
    return pickup_words(run.figures.passes[-1].zones["patch"])


def _about(run: PageRun) -> str:
    parts = []
    about = run.about
    if about is not None:
        debris = " and ".join(f"{one.kind}{f' (batch {one.batch})' if one.batch else ''}" for one in about.debris)
        parts += [f"Machine {_label(run)}{f', software {about.software}' if about.software else ''}."]
        parts += [f"{debris} on {about.floor}." if about.floor and debris else ""]
        parts += [f"Run on {about.when}."]
    if run.record:
        patch = run.record["patch"]
        walls = f"walls at {' and '.join(patch['walls'])}" if patch["walls"] else "no walls"
        kinds = ", ".join(str(kind["name"]) for kind in run.record["kinds"])
        parts.append(
            f"Patch “{patch['name']}”, {patch['width_mm']:g} x {patch['height_mm']:g} mm, {walls}; debris: {kinds}."
        )
        parts.append("Its pictures are renderings, not photographs." if patch.get("rendered") else "")
    return " ".join(part for part in parts if part)


def _notes(run: PageRun) -> tuple[str, ...]:
    about = run.about
    return () if about is None else tuple(f"{note.when}: {note.text}" for note in about.notes)


def _photos(run: PageRun) -> Iterable[Mapping[str, str]]:
    for shot, photo in run.record.get("photos", {}).items():
        residual = photo.get("residual_mm")
        yield {
            "shot": shot,
            "file": photo.get("file") or UNKNOWN,
            "taken": photo.get("taken") or UNKNOWN,
            "residual": UNKNOWN if residual is None else f"{residual:.2f} mm",
            "sha256": photo.get("sha256") or UNKNOWN,
        }


def _title(sources: Sources, runs: Sequence[PageRun]) -> str:
    names = [campaign.campaign.name for campaign in sources.campaigns.values()]
    if names:
        return ", ".join(names)
    return runs[0].name if len(runs) == 1 else f"{runs[0].name} and {len(runs) - 1} more"


def _intro(runs: Sequence[PageRun]) -> str:
    days = sorted({run.about.when[:10] for run in runs if run.about is not None})
    when = "" if not days else f", {days[0]}" if len(days) == 1 else f", {days[0]} to {days[-1]}"
    number = "One run" if len(runs) == 1 else f"{len(runs)} runs"
    return f"{number}{when}. How much of the strewn debris a floor cleaning machine picked up, measured from photos."


def _versions(runs: Sequence[PageRun]) -> str:
    measured = dict.fromkeys(
        f"debriscount {run.record.get('version')}"
        + (f" with {made_with_text(used)}" if (used := run.record.get("made_with")) else "")
        for run in runs
        if run.record
    )
    by = f"Measured by {'; '.join(measured)}. " if measured else ""
    return f"{by}Page made by debriscount {__version__}."


def _privacy(shown: Shown) -> str:
    times = "Times of photos are as the cameras wrote them." if shown.times else "Times are given to the day."
    names = "" if shown.file_names else " Photo files are named after their shots, not as the camera named them."
    return f"{times}{names}"


def _files(runs: Sequence[PageRun]) -> tuple[dict[str, bytes], dict[str, str]]:
    """Files of the archive by path, and each measurement's path by its run's name."""
    files: dict[str, bytes] = {}
    records: dict[str, str] = {}
    for number, run in enumerate(runs, start=1):
        folder = f"{number:03d}-{re.sub('[^A-Za-z0-9]+', '-', run.name).strip('-')[:40] or 'run'}"
        if run.record:
            records[run.name] = f"{folder}/{RECORD}"
            files[records[run.name]] = record_bytes(run.record)
        files |= {f"{folder}/{name}": text.encode("utf-8", "replace") for name, text in run.tables.items()}
    return files, records
