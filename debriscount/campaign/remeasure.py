"""Runs measured anew from the photos they keep: old records are kept, and a round that was interrupted goes on."""

import json
import secrets
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import datetime
from functools import partial
from hashlib import sha256
from pathlib import Path

from .. import __version__
from ..errors import CampaignError, DebriscountError
from ..inputs.debris_file import read_debris
from ..inputs.debris_names import find_debris
from ..inputs.exchange import put_files
from ..inputs.patch_file import read_patch
from ..inputs.save import save_files
from .add_run import Measured, Progress
from .campaign_file import read_campaign
from .file_run import one_run, photo_bytes, put_run, sources_of, used_file, writing
from .places import BLANKS, DEBRIS, RUN, RUNS, run_folder
from .read_runs import run_numbers
from .records import Figures, FiledRun, RunRecord, RunSources, Unread, UsedDebris, UsedFile, Versions
from .run_file import read_run, read_run_record, run_json, text_sum

#: In the folder of runs while a round is not done: which runs it is to measure.
ROUND = ".remeasure.json"
EARLIER = "earlier"
_ROUND_FORMAT = "debriscount/remeasure/1"
#: What is kept of an old result: records and tables, not the pictures, which can be drawn anew.
_KEPT = (".json", ".csv", ".toml")


@dataclass(frozen=True, slots=True, kw_only=True)
class Job:
    """One run to be measured anew, by whichever process; ``round_mark`` says in which round."""

    campaign: Path
    run: int
    round_mark: str
    measured: Measured
    present_files: bool = False
    weighing: Path | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class RemeasuredRun:
    """What measuring a run anew came to: figures before, if they could be read, and after; or ``fault``."""

    run: int
    before: Figures | None = None
    after: Figures | None = None
    fault: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Remeasured:
    """A round: what became of each of its runs, and how many were done before it was interrupted."""

    runs: tuple[RemeasuredRun, ...]
    done_before: int
    unread: tuple[Unread, ...]


#: Has each job done, wherever, and yields what it comes to as soon as it is there.
Spread = Callable[[Callable[[Job], RemeasuredRun], Sequence[Job]], Iterator[RemeasuredRun]]


def remeasure(
    campaign: Path,
    numbers: Sequence[int],
    measured: Measured,
    spread: Spread,
    *,
    everything: bool = False,
    present_files: bool = False,
    weighing: Path | None = None,
    from_start: bool = False,
    progress: Progress | None = None,
) -> Remeasured:
    """Measure runs anew.

    Parameters
    ----------
    campaign : Path
        The campaign's folder.
    numbers : sequence of int
        The runs; if empty, those that another version measured, or with ``everything`` all that are not withdrawn.
    measured : callable
        Measures a run; a function of a module, so that other processes can find it.
    spread : callable
        Has the jobs done.
    present_files : bool
        Measure with the campaign's patch, debris and lens files rather than with those that the run keeps.
    weighing : Path, optional
        A weighing for the one run that is named.
    from_start : bool
        Forget that an earlier round was interrupted.
    progress : callable, optional
        Told the share done, 0 to 1, and what is being done.

    Returns
    -------
    Remeasured
        In the order of numbers.

    Raises
    ------
    CampaignError
        There is no such run, or a weighing is given for several.
    """
    if weighing is not None and len(numbers) != 1:
        raise CampaignError("--weighing belongs to one run. Name that run.")
    for number in numbers:
        one_run_record(campaign, number)
    records, unread = _records(campaign)
    wanted = sorted(set(numbers)) or [
        number
        for number, record in records.items()
        if record.withdrawn is None and (everything or record.versions.measured != __version__)
    ]
    mark = secrets.token_hex(8)
    asked = {"everything": everything, "present_files": present_files, "numbers": sorted(set(numbers))}
    earlier = None if from_start or weighing is not None else _begun(campaign, asked)
    if earlier is not None:
        mark, wanted = earlier
    left = [number for number in wanted if number in records and records[number].versions.round != mark]
    if left and weighing is None:
        content = {"format": _ROUND_FORMAT, "mark": mark, "asked": asked, "runs": wanted}
        save_files({campaign / RUNS / ROUND: json.dumps(content).encode()}, overwrite=True)
    jobs = [
        Job(
            campaign=campaign.resolve(),
            run=number,
            round_mark=mark,
            measured=measured,
            present_files=present_files,
            weighing=None if weighing is None else weighing.resolve(),
        )
        for number in left
    ]
    done = []
    for one in spread(remeasure_one, jobs):
        done.append(one)
        if progress is not None:
            progress(len(done) / len(jobs), f"run {one.run}, {len(done)} of {len(jobs)}")
    with suppress(OSError):
        (campaign / RUNS / ROUND).unlink(missing_ok=True)
    return Remeasured(
        runs=tuple(sorted(done, key=lambda one: one.run)), done_before=len(wanted) - len(left), unread=unread
    )


def remeasure_one(job: Job) -> RemeasuredRun:
    """Measure one run anew and file the result; a fault is returned, so that the others go on."""
    folder = run_folder(job.campaign, job.run)
    before = None
    with suppress(DebriscountError):
        before = read_run(folder).figures
    try:
        record = read_run_record(folder)
        _check_photos(folder, record)
        sources = _present(job, record) if job.present_files else sources_of(folder, record)
        if job.weighing is not None:
            sources = replace(sources, weighing=job.weighing)
        result = job.measured(sources, None)
        after = _file_anew(job, folder, sources, result).figures
    except DebriscountError as error:
        return RemeasuredRun(run=job.run, before=before, fault=str(error))
    except Exception as error:  # a fault of the program in one run must not cost the others
        return RemeasuredRun(run=job.run, before=before, fault=f"a fault of the program: {error!r}")
    return RemeasuredRun(run=job.run, before=before, after=after)


def one_run_record(campaign: Path, number: int) -> RunRecord:
    """Read the run.json of a number; CampaignError, which names it, if it is not there or cannot be read."""
    folder = run_folder(campaign, number)
    if not folder.is_dir():
        one_run(campaign, number)  # which says what there is
    try:
        return read_run_record(folder)
    except CampaignError as error:
        raise CampaignError(f"run {number}: {error}") from None


def _records(campaign: Path) -> tuple[dict[int, RunRecord], tuple[Unread, ...]]:
    """The run.json of every run: a result that is damaged is no hindrance, for it is made anew."""
    records, unread = {}, []
    for number in run_numbers(campaign):
        folder = run_folder(campaign, number)
        try:
            records[number] = read_run_record(folder)
        except DebriscountError as error:
            unread.append(Unread(folder.name, str(error)))
    return records, tuple(unread)


def _begun(campaign: Path, asked: Mapping[str, object]) -> tuple[str, list[int]] | None:
    """Mark and runs of a round that was interrupted, if the same was asked for then."""
    try:
        found = json.loads((campaign / RUNS / ROUND).read_bytes())
        if found["format"] != _ROUND_FORMAT or found["asked"] != asked:
            return None
        return str(found["mark"]), [int(number) for number in found["runs"]]
    except (OSError, ValueError, KeyError, TypeError):
        return None


def _check_photos(folder: Path, record: RunRecord) -> None:
    for shot, photo in record.photos.items():
        if not (folder / photo.file).exists():
            home = BLANKS if Path(photo.file).parent.name == BLANKS else f"{RUNS}/{folder.name}"
            name = Path(photo.file).name
            raise CampaignError(f"{name}, the photo that was filed as {shot}, is missing. Put it back in {home}.")
        if sha256(photo_bytes(folder / photo.file)).hexdigest() != photo.sha256:
            raise CampaignError(f"{photo.file} is not the photo that was filed as {shot}. Put that one back.")


def _present(job: Job, record: RunRecord) -> RunSources:
    """What a run would be measured from if it were added today."""
    common = read_campaign(job.campaign).campaign
    own = sources_of(run_folder(job.campaign, job.run), record)
    return replace(
        own,
        patch=job.campaign / common.patch,
        debris=tuple(find_debris(used.name, job.campaign / DEBRIS) for used in record.debris),
        lens=job.campaign / common.lens if common.lens else None,
    )


def _file_anew(job: Job, folder: Path, sources: RunSources, result: Mapping[str, bytes]) -> FiledRun:
    with writing(job.campaign):
        record = read_run_record(folder)  # a note may have come meanwhile
        _keep_earlier(folder, record)
        contents: dict[str, bytes] = {}
        changes: dict[str, object] = {}
        if job.present_files:
            changes["patch"] = used_file(contents, sources.patch, "patch.toml", read_patch(sources.patch).name)
            changes["debris"] = tuple(
                _debris_anew(contents, path, used) for path, used in zip(sources.debris, record.debris, strict=True)
            )
            changes["lens"] = None if sources.lens is None else used_file(contents, sources.lens, "lens.toml", "lens")
        if job.weighing is not None:
            changes["weighing"] = used_file(contents, job.weighing, "weighing.toml", "weighing")
        first = next(iter(result))
        changed = replace(
            record,
            result=UsedFile(Path(first).stem, first, text_sum(result[first])),
            files=tuple(result),
            versions=Versions(record.versions.filed, __version__, datetime.now().isoformat(), job.round_mark),
            **changes,  # type: ignore[arg-type]
        )
        put_run(folder, {RUN: run_json(changed), **contents, **result}, record.files)
    return read_run(folder)


def _debris_anew(contents: dict[str, bytes], path: Path, used: UsedDebris) -> UsedDebris:
    file = used_file(contents, path, used.file, read_debris(path).name)
    return replace(used, kind=file.name, sha256=file.sha256)


def _keep_earlier(folder: Path, record: RunRecord) -> None:
    """Keep a copy of the present result, unless the last copy is of the same."""
    home = folder / EARLIER
    numbers = sorted(int(path.name) for path in home.iterdir() if path.name.isdecimal()) if home.is_dir() else []
    present = folder / record.result.file
    if not present.is_file():
        return
    if numbers:
        last = home / f"{numbers[-1]:02d}" / record.result.file
        if last.is_file() and last.read_bytes() == present.read_bytes():
            return
    names = [RUN, *(name for name in record.files if name.endswith(_KEPT))]
    names += [used.file for used in (record.patch, record.lens, record.weighing, *record.debris) if used is not None]
    contents = {name: (folder / name).read_bytes() for name in names if (folder / name).is_file()}
    number = f"{(numbers[-1] if numbers else 0) + 1:02d}"
    makers = {name: partial(bytes, content) for name, content in contents.items()}
    put_files(home / number, makers, list, number)
