"""Puts a page together from runs and writes it: one HTML file that asks nothing of anyone."""

import base64
import hashlib
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup
from numpy.typing import NDArray

from .. import __version__
from ..at_once import for_each
from ..campaign.result_file import MeasurementRecord, result_figures
from ..errors import InputFileError
from ..inputs.save import refuse_existing, save_files
from ..printable import printable
from ..report.folder import record_bytes
from ..report.lookup import shot_name_of_pass
from ..report.palette import Color
from ..report.record import patch_of
from ..report.rounding import UNKNOWN
from ..safety import MACHINE_OFF, MINERAL_DUST
from .data import archive, data_link
from .layers import Layers, layers_of
from .pictures import ShotPicture, found_map, kind_colors, shot_picture
from .private import Shown, cleaned, cleaned_run, cleaned_table, photo_names
from .side_by_side import side_by_side
from .sources import RECORD, PageRun, Sources, damaged, picture
from .words import RunWords, pickup_words, run_words

#: A page may take 25 MB; pictures may take so much of that, before base64 makes four bytes of three.
_PICTURE_BYTES = 15_500_000
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
class _Shot:
    """A picture in the viewer."""

    view: Markup
    outlines: Markup
    width: int
    height: int
    title: str
    alt: str


@dataclass(frozen=True, slots=True, kw_only=True)
class _Switch:
    """A layer that can be switched on and off, with samples of its colours."""

    name: str
    title: str
    on: bool = False
    samples: tuple[Mapping[str, str], ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class _View:
    """Before and after a pass, with what lies over them."""

    title: str
    before: _Shot
    after: _Shot
    layers: Layers
    switches: tuple[_Switch, ...]
    fineness: str
    notes: tuple[str, ...]
    left_mm: float
    top_mm: float
    width_mm: float
    height_mm: float


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
    views: tuple[_View, ...]
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
    views = _views(runs)
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


def _views(runs: Sequence[PageRun]) -> list[tuple[_View, ...]]:
    """Pictures of every run, two runs at a time; all pictures share what the page may take."""
    number = sum(2 * len(run.record["passes"]) for run in runs if run.record) or 1
    each = _PICTURE_BYTES // number
    return list(for_each(partial(_run_views, most_bytes=each), runs))


def _run_views(run: PageRun, most_bytes: int) -> tuple[_View, ...]:
    try:
        return tuple(_made_views(run, most_bytes))
    except InputFileError:
        raise
    except (KeyError, TypeError, ValueError, AttributeError, IndexError) as error:
        raise damaged(run.folder / RECORD, error) from None


def _made_views(run: PageRun, most_bytes: int) -> Iterable[_View]:
    record = run.record
    if not record:
        return
    patch, grid = patch_of(record["patch"]), record["grid"]
    kinds = record["kinds"]
    jpeg = picture(run.folder, "floor-before.jpg")
    if jpeg is None:
        return
    found = _found(run.folder, "before")
    colors = kind_colors([_rgb(kind["color"]) for kind in kinds], jpeg, found)
    # Outlines take about a quarter of what the view does.
    made = partial(shot_picture, colors=colors, most_bytes=round(0.8 * most_bytes))
    before = made(jpeg, found, name=str(run.folder / "floor-before.jpg"))
    grains = run.grains
    step = float(grid["mm_per_px"])
    for done in record["passes"]:
        shot = shot_name_of_pass(int(done["pass"]))
        jpeg = picture(run.folder, f"floor-{shot}.jpg")
        if jpeg is None:
            continue
        after = made(jpeg, _found(run.folder, shot), name=str(run.folder / f"floor-{shot}.jpg"))
        layers = layers_of(patch, grid, done, [row for row in grains if row.get("shot") == shot])
        what = "after the pass" if len(record["passes"]) == 1 else f"after pass {done['pass']}"
        names = ", ".join(str(kind["name"]) for kind in kinds)
        yield _View(
            title=f"Before and {what}",
            before=_shot(before, "Before", f"The patch from straight above before the run, with {names} strewn on it"),
            after=_shot(after, what.capitalize(), f"The same view {what}, with the debris that was left"),
            layers=layers,
            switches=_switches(layers, kinds, colors, before, done),
            fineness=_fineness(before, step),
            notes=_view_notes(layers, done),
            left_mm=round(float(grid["x0_mm"]) - step / 2, 2),
            top_mm=round(float(grid["y0_mm"]) - step / 2, 2),
            width_mm=round(step * int(grid["width_px"]), 2),
            height_mm=round(step * int(grid["height_px"]), 2),
        )


def _found(folder: Path, shot: str) -> NDArray[np.uint8] | None:
    content = picture(folder, f"found-{shot}.png")
    return None if content is None else found_map(content, str(folder / f"found-{shot}.png"))


def _shot(made: ShotPicture, title: str, alt: str) -> _Shot:
    return _Shot(
        view=Markup(made.view),
        outlines=Markup(made.outlines),
        width=made.width,
        height=made.height,
        title=title,
        alt=alt,
    )


def _switches(
    layers: Layers, kinds: Sequence[Mapping[str, Any]], colors: Sequence[Color], before: ShotPicture, done: Any
) -> tuple[_Switch, ...]:
    found = []
    if before.outlines:
        samples = [
            {"name": str(kind["name"]), "color": "#{:02x}{:02x}{:02x}".format(*color)}
            for kind, color in zip(kinds, colors, strict=True)
        ]
        found.append(_Switch(name="outlines", title="Outlines of", samples=tuple(samples)))
    found.append(_Switch(name="zones", title="Zones", on=True))
    if layers.untouched or layers.shifted:
        samples = [
            {"name": "ring: untouched", "color": "#56b4e9"},
            {"name": "cross: shifted", "color": "#f0a830"},
        ]
        found.append(_Switch(name="fates", title="Leftovers", samples=tuple(samples)))
    if layers.strips or layers.missed:
        sample = {"name": "dashed: never reached", "color": "#f0e442"}
        found.append(_Switch(name="strips", title="Strips and places", samples=(sample,)))
    if layers.flung or layers.arrow:
        name = "flung out" if layers.flung else ""
        if layers.arrow:
            name += f"{', ' if name else ''}arrow: where moved debris went"
        found.append(_Switch(name="scatter", title="Scatter", samples=({"name": name, "color": "#ff9ad5"},)))
    return tuple(found)


def _fineness(made: ShotPicture, step: float) -> str:
    if made.share == 1:
        return (
            f"A pixel of the view that was measured is {step:.2g} mm of floor, about what one of the photo is. Each is "
            "shown four times as large."
        )
    return (
        f"A pixel here is {step / made.share:.2g} mm of floor: the page has many pictures, so they are "
        f"{100 * made.share:.0f} % as wide as the view that was measured."
    )


def _view_notes(layers: Layers, done: Mapping[str, Any]) -> tuple[str, ...]:
    notes = []
    shown, told = layers.fates_marked
    if shown < told:
        notes.append(f"Marked are the {shown} largest of {told} grains left.")
    matched = (done.get("leftovers") or {}).get("kinds", {})
    fine = [kind for kind, block in matched.items() if not block.get("matched")]
    if fine:
        notes.append(f"{', '.join(fine)}: too fine to mark grain by grain; the shares below hold for it too.")
    return tuple(notes)


def _why_no_pictures(run: PageRun) -> str:
    if not run.record:
        return "This run was weighed only."
    return "The result has no bare floor views, which older versions did not write. Measuring again adds them."


def _rgb(text: str) -> Color:
    return int(text[1:3], 16), int(text[3:5], 16), int(text[5:7], 16)


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
    measured = sorted({str(run.record.get("version")) for run in runs if run.record})
    by = f"Measured by debriscount {', '.join(measured)}. " if measured else ""
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
