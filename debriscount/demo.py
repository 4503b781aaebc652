"""The demo: shipped test runs whose truth is known, measured for real."""

import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from os import PathLike
from pathlib import Path

from .columns import aligned
from .errors import OutputError
from .inputs.save import save_files
from .opencv import require_opencv
from .shipped import shipped_folder

#: The shipped runs; the first is the one that is measured unless all are asked for.
SCENES = ("lentils-oak-corner", "rice-two-pass-oblique", "mixed-tile-edge")

#: The shipped campaign: records of 16 made-up runs of two invented machines with two brushes, without their photos; of
#: the first four what a page shows of them.
CAMPAIGN = "two-brushes"

_MARK = ".debriscount-demo"
_MARK_TEXT = "Made by the demo of debriscount, which may write here again.\n"


@dataclass(frozen=True, slots=True, kw_only=True)
class DemoFigure:
    """Pickup of one zone after one pass, as measured and as it truly was (by area), percent."""

    number: int
    zone: str
    measured_percent: float | None
    interval95: tuple[float, float] | None
    true_percent: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class DemoRun:
    """One measured run of the demo: its figures, what was written, and how to repeat it by hand."""

    scene: str
    folder: Path
    figures: tuple[DemoFigure, ...]
    written: tuple[Path, ...]
    command: str
    warnings: tuple[str, ...]

    @property
    def pictures(self) -> tuple[Path, ...]:
        """Those of the written files that are pictures."""
        return tuple(path for path in self.written if path.suffix in (".png", ".jpg"))


def copy_scenes(directory: str | PathLike[str], scenes: Sequence[str] = SCENES[:1]) -> list[Path]:
    """Copy shipped runs into a folder.

    Parameters
    ----------
    directory : path-like
        Made if it is missing; must be empty or an earlier demo's.
    scenes : sequence of str
        Names out of ``SCENES``.

    Returns
    -------
    list of Path
        The folder of each run.

    Raises
    ------
    OutputError
        The folder holds something else, is a file, or cannot be written.
    ValueError
        A name is not in ``SCENES``.
    """
    unknown = [scene for scene in scenes if scene not in SCENES]
    if unknown:
        raise ValueError(f"scenes must be among {', '.join(SCENES)}, got {unknown[0]!r}")
    return _copy(Path(directory), scenes)


def copy_campaign(directory: str | PathLike[str]) -> Path:
    """Copy the shipped campaign into a folder and return its own; parameter and errors as `copy_scenes` has them."""
    return _copy(Path(directory), [CAMPAIGN])[0]


def _copy(directory: Path, names: Sequence[str]) -> list[Path]:
    if directory.exists() and not directory.is_dir():
        raise OutputError(f"{directory}: is a file. Give a new or empty folder for the demo.")
    source = shipped_folder("debriscount._reference", "reference_images")
    try:
        if directory.is_dir() and any(directory.iterdir()) and not (directory / _MARK).is_file():
            raise OutputError(f"{directory}: holds files that are no earlier demo's. Give a new or empty folder.")
        directory.mkdir(parents=True, exist_ok=True)
        (directory / _MARK).write_text(_MARK_TEXT, encoding="utf-8")
        for name in names:
            shipped = sorted(path for path in (source / name).rglob("*") if path.is_file())
            files = {directory / path.relative_to(source): path.read_bytes() for path in shipped}
            save_files(files, overwrite=True)
    except OutputError:
        raise
    except OSError as error:
        raise OutputError(
            f"{directory}: cannot be written ({error.strerror}). Give a folder of your own for the demo."
        ) from None
    return [directory / name for name in names]


def run_scene(folder: Path, progress: Callable[[float, str], None] | None = None) -> DemoRun:
    """Measure one copied run and put its figures beside the truth.

    Parameters
    ----------
    folder : Path
        As `copy_scenes` returns it.
    progress : callable, optional
        Takes the share done (0 to 1) and what is being done.

    Returns
    -------
    DemoRun

    Raises
    ------
    DebriscountError
        As measuring and writing do.
    """
    require_opencv()
    from .report.write import write_measurement
    from .run.measure import measure

    patch, before = folder / "patch.toml", folder / "before.jpg"
    afters = sorted(folder.glob("after*.jpg"))
    blank = next(iter(folder.glob("blank.jpg")), None)
    debris = sorted(set(folder.glob("*.toml")) - {patch})
    measurement = measure(patch, before, afters, blank=blank, debris=debris, progress=progress)
    truth = json.loads((folder / "truth.json").read_text(encoding="utf-8"))
    figures = []
    for passed, true in zip(measurement.passes, truth["passes"], strict=True):
        for zone, measured in passed.zones.items():
            true_percent = true["zones"].get(zone, {}).get("pickup_by_area_percent")
            if measured.pickup_percent is not None or true_percent is not None:
                figures.append(
                    DemoFigure(
                        number=passed.number,
                        zone=zone,
                        measured_percent=measured.pickup_percent,
                        interval95=measured.interval95,
                        true_percent=true_percent,
                    )
                )
    options = [f"--debris {path.name}" for path in debris]
    if blank:
        options.insert(0, "--blank blank.jpg")
    photos = ["before.jpg", *(path.name for path in afters)]
    return DemoRun(
        scene=folder.name,
        folder=folder,
        figures=tuple(figures),
        written=tuple(write_measurement(measurement, folder / "result")),
        command=" ".join(["debriscount measure --patch patch.toml", *options, "--out result", *photos]),
        warnings=measurement.warnings,
    )


def demo_page(directory: str | PathLike[str], campaign: Path, results: Sequence[Path]) -> Path:
    """Write the page of the copied campaign, with the measured runs and their pictures after it.

    Parameters
    ----------
    directory : path-like
        The demo's folder, in which page.html is replaced.
    campaign : Path
        As `copy_campaign` returns it.
    results : sequence of Path
        Folders of measured results.

    Returns
    -------
    Path
        The page.

    Raises
    ------
    DebriscountError
        As reading runs and writing pages do.
    """
    from .page.private import Shown
    from .page.sources import read_sources
    from .page.write import write_page

    return write_page(read_sources([campaign, *results]), Path(directory) / "page.html", Shown(), overwrite=True)


def demo_text(run: DemoRun) -> str:
    """Return what a person should read of a run: figures beside the truth, pictures to open.

    Parameters
    ----------
    run : DemoRun
        As `run_scene` returns it.

    Returns
    -------
    str
        Several lines.
    """
    from .report.rounding import interval_text, percent_text

    rows = [["pass", "zone", "pickup", "95 % interval", "truth"]]
    for figure in run.figures:
        measured, interval = percent_text(figure.measured_percent), interval_text(figure.interval95)
        rows.append([str(figure.number), figure.zone, measured, interval, percent_text(figure.true_percent)])
    lines = [f"{run.scene} (rendered pictures, so the truth is known)", *aligned(rows)]
    lines += ["", "Open these pictures:", *(f"  {picture}" for picture in run.pictures)]
    lines += ["The same by hand:", f"  cd {run.folder}", f"  {run.command}"]
    return "\n".join(lines)


def campaign_text(folder: Path, width: int) -> str:
    """Return what a person should read of the copied campaign: means, differences, and how to get them by hand.

    Parameters
    ----------
    folder : Path
        As `copy_campaign` returns it.
    width : int
        Columns.

    Raises
    ------
    DebriscountError
        As reading a campaign does.
    """
    from .campaign.read_runs import read_runs
    from .compare.compare import compare
    from .compare.labels import campaign_runs
    from .compare.selected import Choice
    from .compare.summary import summarise
    from .report.runs_comparison import comparison_text
    from .report.runs_summary import summary_text

    runs, choice = campaign_runs({folder: read_runs(folder).runs}), Choice()
    summary = summarise(runs, ["machine", "setting.brush"], choice)
    comparison = compare(runs, "setting.brush", choice=choice)
    lines = [f"{folder.name} (a campaign of made-up runs of invented machines)", ""]
    lines += [summary_text(summary, choice, width), comparison_text(comparison, choice, width)]
    lines += ["The same by hand:", f"  cd {folder}", "  debriscount summary --by machine,setting.brush"]
    lines += ["  debriscount compare --factor setting.brush"]
    return "\n".join(lines)
