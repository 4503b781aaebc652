"""Photo against scale over many runs, for people and for programs."""

import math
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import partial
from pathlib import Path

from .. import __version__
from ..campaign.records import FiledAgreement, FiledRun, RunRecord
from ..columns import aligned, wrapped
from ..errors import InputFileError
from ..printable import printable
from ..scale.agreement import en_score, verdict_of, with_uncertainty
from ..scale.drift import Drift
from ..scale.many import ManyRuns, WeighedRun, judge_runs
from ..serialize import PERCENT_DECIMALS, JsonObject, picked, plain, rounded
from ..stats.quantity import Quantity
from .folder import RECORD_MARK, ResultFiles, record_bytes, write_files
from .record import read_record

FORMAT = "debriscount/agreement/1"
#: Near the start of every plot, by which a later one knows that it may replace it.
PLOT_MARK = b"debriscount agreement"

_LEGEND = "Difference: photo less scale. The truth is within ± of a figure in about 95 of 100 cases."

_MARKS = {"agreement.json": RECORD_MARK, "agreement.png": PLOT_MARK, "agreement.svg": PLOT_MARK}
#: Records hold four decimals, and no pickup of a real run comes near the other end.
_LEAST_PERCENT, _MOST_PERCENT = 1e-9, 1e6
_NO_PICTURES = re.compile(r"(?!)")


@dataclass(frozen=True, slots=True)
class RunsRead:
    """Weighed runs out of several records, and the names of those that were not weighed."""

    weighed: tuple[WeighedRun, ...]
    not_weighed: tuple[str, ...]


def read_weighed_runs(folders: Sequence[str | Path]) -> RunsRead:
    """Read what photo and scale said out of the records of several runs.

    Parameters
    ----------
    folders : sequence of str or Path
        Folders with a ``measurement.json``, or such files themselves.

    Returns
    -------
    RunsRead
        In the order given; a run is named after its folder.

    Raises
    ------
    InputFileError
        A record cannot be read, is of an unknown format or lacks what the comparison needs, a run is given twice, by
        place or by its photos, or none of them was weighed.
    """
    files = [_record_file(Path(folder)) for folder in folders]
    names = _names(files)
    weighed, without = [], []
    records = [read_record(file) for file in files]
    _refuse_same_photos(files, records)
    for file, name, record in zip(files, names, records, strict=True):
        if record.get("agreement") is None:
            without.append(name)
        else:
            weighed.append(_weighed_run(file, name, record))
    if not weighed:
        raise InputFileError(
            f"{', '.join(map(str, files))}: not weighed (agreement is null). Measure with --weighing to compare them."
        )
    return RunsRead(tuple(weighed), tuple(without))


def _record_file(path: Path) -> Path:
    return path / "measurement.json" if path.is_dir() else path


def _names(files: list[Path]) -> list[str]:
    places = [file.resolve() for file in files]
    for i, place in enumerate(places):
        if place in places[:i]:
            raise InputFileError(f"{files[i]}: is given twice. Give each run once.")
    short = [place.parent.name for place in places]
    return [name if short.count(name) == 1 else str(file.parent) for name, file in zip(short, files, strict=True)]


def _refuse_same_photos(files: Sequence[Path], records: Sequence[JsonObject]) -> None:
    """Refuse runs that share a photo of debris: they are one run, and would count as two."""
    seen: dict[str, Path] = {}
    for file, record in zip(files, records, strict=True):
        for shot, sha256 in _debris_photos(record).items():
            if sha256 in seen:
                raise InputFileError(
                    f"{file}: its photo {shot} is one of {seen[sha256]}, so the same run is given twice. "
                    "Give each run once."
                )
        seen |= dict.fromkeys(_debris_photos(record).values(), file)


def _debris_photos(record: JsonObject) -> dict[str, str]:
    """SHA-256 by shot, but for the blank, which several runs may have in common."""
    photos = record.get("photos")
    sums = {
        shot: photo.get("sha256")
        for shot, photo in (photos.items() if isinstance(photos, dict) else ())
        if isinstance(photo, dict) and shot != "blank"
    }
    return {shot: sha256 for shot, sha256 in sums.items() if isinstance(sha256, str) and sha256}


def _weighed_run(file: Path, name: str, record: JsonObject) -> WeighedRun:
    agreement = record["agreement"]
    if not isinstance(agreement, dict):
        raise InputFileError(f"{file}: agreement must be an object or null. Measure the run again.")
    photo, scale = (
        Quantity(_number(file, agreement, f"{of}_percent"), _number(file, agreement, f"{of}_u", least=0.0))
        for of in ("photo", "scale")
    )
    if photo.u == scale.u == 0:
        raise InputFileError(f"{file}: agreement.photo_u and scale_u are both 0. Measure the run again.")
    causes = agreement.get("causes") or [{}]
    cause = causes[0].get("name") if isinstance(causes, list) and isinstance(causes[0], dict) else None
    return WeighedRun(
        name=name, photo=photo, scale=scale, day=_day(record), cause=cause if isinstance(cause, str) else None
    )


def _number(file: Path, agreement: JsonObject, key: str, least: float = -math.inf) -> float:
    value = agreement.get(key)
    if isinstance(value, bool) or not isinstance(value, int | float) or not least <= value < math.inf:
        kind = "a number" if math.isinf(least) else f"a number of at least {least:g}"
        raise InputFileError(
            f"{file}: agreement.{key} must be {kind}, got {printable(repr(value), 60)}. Measure the run again."
        )
    if abs(value) > _MOST_PERCENT or 0 < abs(value) < _LEAST_PERCENT:
        raise InputFileError(
            f"{file}: agreement.{key} must be 0, or between {_LEAST_PERCENT:g} and {_MOST_PERCENT:g}, with either sign,"
            f" got {printable(repr(value), 60)}. Measure the run again."
        )
    return float(value)


def _day(record: JsonObject) -> float | None:
    """Day that *before* was taken on, counted with its fraction; None where the record does not say."""
    try:
        taken = datetime.fromisoformat(record["photos"]["before"]["taken"])
    except (KeyError, TypeError, ValueError):
        return None
    return (taken.replace(tzinfo=None) - datetime(1970, 1, 1)).total_seconds() / 86400


def runs_json(many: ManyRuns, not_weighed: Sequence[str] = ()) -> JsonObject:
    """Return the comparison as a record of format "debriscount/agreement/1".

    Percent and percentage points; uncertainties are standard ones; a figure that is unknown is None.
    """
    limits, line, drift, scatter = many.limits, many.line, many.drift, many.scatter
    return {
        "format": FORMAT,
        "version": __version__,
        "runs": [_run_json(run, zeta) for run, zeta in zip(many.runs, many.zeta, strict=True)],
        "not_weighed": list(not_weighed),
        "odd": list(many.odd),
        "too_uncertain": list(many.uncertain),
        "bland_altman": limits and {
            "bias": _quantity(limits.bias),
            **picked(limits, "sd"),
            "lower": _quantity(limits.lower),
            "upper": _quantity(limits.upper),
        },
        "line": line and {
            "slope": many.slope and _quantity(many.slope),
            **picked(line, "intercept_percent=intercept u_intercept chi2 dof"),
        },
        "drift": drift and {
            "per": "day" if many.dated else "run",
            "slope": _quantity(drift.slope, 6),
            **picked(drift, "chance same_sign"),
            "same_sign_chance": rounded(drift.same_sign_chance, 6),
        },
        "scatter": scatter and picked(scatter, "ratio chance"),
        "photo_alone": None
        if many.alone_u is None or many.alone_dof is None
        else {"u_percent": plain(many.alone_u), "dof": rounded(many.alone_dof, 1)},
        "verdict": many.verdict,
        "sentences": list(many.sentences),
    }  # fmt: skip


def _run_json(run: WeighedRun, zeta: float) -> JsonObject:
    return {
        "run": run.name,
        **picked(run.photo, "photo_percent=value photo_u=u"),
        **picked(run.scale, "scale_percent=value scale_u=u"),
        "en": plain(en_score(run.photo.value, run.scale.value, 2 * run.photo.u, 2 * run.scale.u)),
        "zeta": plain(zeta),
        "verdict": verdict_of(run.photo, run.scale),
        "cause": run.cause,
    }


def _quantity(quantity: Quantity, decimals: int = PERCENT_DECIMALS) -> JsonObject:
    return {
        "value": rounded(quantity.value, decimals),
        "u": rounded(quantity.u, decimals),
        "interval95": [rounded(end, decimals) for end in quantity.interval95()],
    }


def runs_text(many: ManyRuns, not_weighed: Sequence[str] = (), width: int = 80) -> str:
    """Return the comparison as a table and sentences for the terminal, in lines of at most ``width``."""
    rows = [["run", "photo %", "scale %", "difference", "verdict"]]
    rows += [
        [
            run.name,
            with_uncertainty(run.photo),
            with_uncertainty(run.scale),
            f"{run.photo.value - run.scale.value:+.1f}",
            verdict_of(run.photo, run.scale) + (", odd" if run.name in many.odd else ""),
        ]
        for run in many.runs
    ]
    said = list(many.sentences)
    if many.slope is not None:
        low, high = many.slope.interval95()
        said.append(
            f"For each point of pickup by scale the photo shows {many.slope.value:.2f} ({low:.2f} to {high:.2f})."
        )
    if many.drift is not None:
        said.append(_drift_text(many.drift, many.span))
    said += [f"Photo and scale disagree: {', '.join(many.disagreeing)}."] if many.disagreeing else []
    said += [f"Not weighed: {', '.join(not_weighed)}."] if not_weighed else []
    table = [*aligned(rows, width), wrapped(_LEGEND, "", width)]
    return "\n".join([*table, "", *(wrapped(sentence, "  ", width) for sentence in said)]) + "\n"


def _drift_text(drift: Drift, span: float) -> str:
    """Drift over ``span``, from the first run to the last: further than that nothing was seen."""
    low, high = (span * end for end in drift.slope.interval95())
    if low <= 0 <= high:
        return f"No drift seen: from first to last run it may be anything from {low:+.1f} to {high:+.1f} points."
    seen = span * drift.slope.value
    return f"Drift: from first to last run {seen:+.1f} points (95 % interval {low:+.1f} to {high:+.1f})."


def write_agreement(many: ManyRuns, out_dir: str | Path, not_weighed: Sequence[str] = ()) -> list[Path]:
    """Write record and plot of a comparison into a folder.

    Parameters
    ----------
    many : ManyRuns
        The comparison.
    out_dir : str or Path
        The folder; made if it is not there. An earlier comparison in it is replaced; all other files stay.
    not_weighed : sequence of str
        Names of runs that were left out.

    Returns
    -------
    list of Path
        agreement.json, agreement.png and agreement.svg.

    Raises
    ------
    OutputError
        The folder cannot be made or written, holds a measurement or count, or a file of the same name that is no
        result of debriscount. Nothing has changed then.
    """
    from .agreement_plot import plot_bytes

    contents: dict[str, Callable[[], bytes]] = {
        "agreement.json": lambda: record_bytes(runs_json(many, not_weighed)),
        "agreement.png": partial(plot_bytes, many, "png"),
        "agreement.svg": partial(plot_bytes, many, "svg"),
    }
    return write_files(ResultFiles(contents, _MARKS, _NO_PICTURES), out_dir)


def weighed_runs_of(runs: Sequence[FiledRun]) -> RunsRead:
    """Return what photo and scale said of a campaign's runs, those that are withdrawn left out.

    Raises
    ------
    InputFileError
        None of them was photographed and weighed.
    """
    counted = [run for run in runs if run.record.withdrawn is None]
    weighed = [_filed(run.record, run.figures.agreement) for run in counted if run.figures.agreement is not None]
    without = [str(run.record.run) for run in counted if run.figures.agreement is None]
    if not weighed:
        raise InputFileError(
            f"none of the campaign's {len(counted)} runs was both photographed and weighed. Weigh with debriscount"
            " weigh while a run is made."
        )
    return RunsRead(tuple(weighed), tuple(without))


def _filed(record: RunRecord, agreement: FiledAgreement) -> WeighedRun:
    return WeighedRun(
        name=str(record.run),
        photo=Quantity(agreement.photo_percent, agreement.photo_u),
        scale=Quantity(agreement.scale_percent, agreement.scale_u),
        day=datetime.fromisoformat(record.when).timestamp() / 86400,
        cause=agreement.cause or None,
    )


def compare_campaign(runs: Sequence[FiledRun]) -> tuple[ManyRuns, tuple[str, ...]]:
    """Compare photo and scale over a campaign's runs; also returns the names of those that were not weighed.

    Raises
    ------
    InputFileError
        As `weighed_runs_of` says.
    """
    found = weighed_runs_of(runs)
    return judge_runs(found.weighed), found.not_weighed


def compare_runs(folders: Sequence[str | Path]) -> tuple[ManyRuns, tuple[str, ...]]:
    """Read runs and compare them; also returns the names of those that were not weighed.

    Raises
    ------
    InputFileError
        As `read_weighed_runs` says.
    """
    runs = read_weighed_runs(folders)
    return judge_runs(runs.weighed), runs.not_weighed
