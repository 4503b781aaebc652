"""A run put into its campaign's folder: all of it or nothing, under the next number."""

import errno
import hashlib
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from datetime import datetime
from functools import partial
from pathlib import Path

from .. import __version__
from ..errors import CampaignError, OutputError, PhotoFileError
from ..inputs.exchange import put_files
from ..inputs.lock import WAIT_S
from ..inputs.save import save_files
from ..photo.files import file_bytes
from ..photo.limits import MOST_MEGAPIXELS, most_bytes
from .places import BLANKS, RUN, run_folder
from .read_runs import read_runs, run_numbers
from .records import (
    RUN_FORMAT,
    FiledPhoto,
    FiledRun,
    Note,
    RunRecord,
    RunSources,
    UsedDebris,
    UsedFile,
    Versions,
    shot_of,
)
from .run_file import read_run, run_json, text_sum

#: In the campaign's folder, held by whoever files or changes a run.
LOCK = ".lock"
#: What a disk says that knows no locks: that must not cost a run.
_NO_LOCKS = (errno.ENOTSUP, errno.EOPNOTSUPP, errno.ENOLCK, errno.ENOSYS)
#: Digits of a photo's SHA-256 by which a shared blank is called: a million blanks collide once in a hundred million.
_SUM_DIGITS = 16


@dataclass(frozen=True, slots=True, kw_only=True)
class NewRun:
    """What is to be filed.

    ``kinds`` and ``batches`` go with the debris files of ``sources``, as results and as the campaign name them.
    ``taken`` holds, by shot, when its photo was taken as far as it tells.
    """

    when: str
    machine: str
    sources: RunSources
    patch_name: str
    kinds: tuple[str, ...] = ()
    batches: tuple[str, ...] = ()
    software: str = ""
    settings: Mapping[str, str] = field(default_factory=dict)
    floor: str = ""
    block: str = ""
    planned: int | None = None
    taken: Mapping[str, str | None] = field(default_factory=dict)
    note: str = ""


def now() -> str:
    """Local time in ISO 8601, to the second, without a zone."""
    return datetime.now().isoformat(timespec="seconds")


def photo_bytes(path: Path) -> bytes:
    """Return the bytes of a photo file; PhotoFileError, with its name, if it cannot be read."""
    try:
        return file_bytes(path, most_bytes(MOST_MEGAPIXELS))
    except PhotoFileError as error:
        raise PhotoFileError(f"{path}: {error}") from None


def refuse_filed(runs: Iterable[FiledRun], sums: Mapping[str, str], taken: Mapping[str, str | None]) -> None:
    """Refuse photos that a run of the campaign has already; those of withdrawn runs may be filed anew.

    Parameters
    ----------
    runs : iterable of FiledRun
        Those of the campaign.
    sums : mapping of str to str
        SHA-256 of each photo by shot; a blank may be shared.
    taken : mapping of str to str or None
        When each was taken: a run of which all were taken in the same seconds has the same photos, saved again.

    Raises
    ------
    CampaignError
        In one line, with the run that has them.
    """
    own = {shot: sum_ for shot, sum_ in sums.items() if shot_of(shot) != "blank"}
    times = {shot: taken.get(shot) for shot in own}
    for run in runs:
        if run.record.withdrawn is not None:
            continue
        filed = {photo.sha256: shot for shot, photo in run.record.photos.items() if shot_of(shot) != "blank"}
        number = run.record.run
        for shot, sum_ in own.items():
            if sum_ in filed:
                raise CampaignError(
                    f"the campaign has those photos already: {shot} is {filed[sum_]} of run {number}."
                    " Nothing was added."
                )
        if (
            None not in times.values()
            and times
            and times == {shot: photo.taken for shot, photo in run.record.photos.items() if shot_of(shot) != "blank"}
        ):
            raise CampaignError(
                f"the campaign has those photos already, saved otherwise: run {number} was taken in the same seconds."
                " Nothing was added."
            )


def file_run(campaign: Path, new: NewRun, result: Mapping[str, bytes], measured_sums: Mapping[str, str]) -> FiledRun:
    """File a run.

    Parameters
    ----------
    campaign : Path
        The campaign's folder.
    new : NewRun
        What is filed; its files are copied, and stay where they are.
    result : mapping of str to bytes
        Files of the result, the record first.
    measured_sums : mapping of str to str
        SHA-256 of the photos that were measured, by shot.

    Returns
    -------
    FiledRun
        As it was read back from its folder.

    Raises
    ------
    CampaignError
        The campaign has those photos already, or one was changed since it was measured. Nothing was filed.
    OutputError
        The folder cannot be written, or another process keeps it. Nothing was filed.
    """
    sources = new.sources
    photos = {shot: photo_bytes(path) for shot, path in sources.photos.items()}
    sums = {shot: hashlib.sha256(content).hexdigest() for shot, content in photos.items()}
    for shot, sum_ in sums.items():
        if sum_ != measured_sums.get(shot, sum_):
            raise CampaignError(f"{sources.photos[shot]}: was changed while it was measured. Add the run again.")
    with writing(campaign):
        refuse_filed(read_runs(campaign).runs, sums, new.taken)
        number = max(run_numbers(campaign), default=0) + 1
        contents: dict[str, bytes] = {}
        filed = {}
        for shot, path in sources.photos.items():
            ending = path.suffix.lower()
            name = f"{shot}{ending}"
            if shot_of(shot) == "blank":
                name = _keep_blank(campaign, photos[shot], sums[shot], ending)
            else:
                contents[name] = photos[shot]
            filed[shot] = FiledPhoto(name, sums[shot], path.name, new.taken.get(shot))
        patch = used_file(contents, sources.patch, "patch.toml", new.patch_name)
        debris = []
        for path, kind, batch in zip(sources.debris, new.kinds, new.batches, strict=True):
            used = used_file(contents, path, f"debris-{path.name}", kind)
            debris.append(UsedDebris(kind=kind, name=path.stem, file=used.file, sha256=used.sha256, batch=batch))
        lens = None if sources.lens is None else used_file(contents, sources.lens, "lens.toml", "lens")
        weighing = None
        if sources.weighing is not None:
            weighing = used_file(contents, sources.weighing, "weighing.toml", "weighing")
        first = next(iter(result))
        record = RunRecord(
            format=RUN_FORMAT,
            run=number,
            when=new.when,
            machine=new.machine,
            software=new.software,
            settings=dict(new.settings),
            floor=new.floor,
            block=new.block,
            planned=new.planned,
            patch=patch,
            debris=tuple(debris),
            lens=lens,
            weighing=weighing,
            photos=filed,
            result=UsedFile(Path(first).stem, first, text_sum(result[first])),
            files=tuple(result),
            versions=Versions(__version__, __version__, now()),
            notes=(Note(now(), new.note),) if new.note else (),
        )
        folder = run_folder(campaign, number)
        put_run(folder, {RUN: run_json(record), **contents, **result})
    return read_run(folder)


@contextmanager
def writing(campaign: Path) -> Iterator[None]:
    """Keep a campaign for one writer while the block runs, whichever computer that is on.

    Raises
    ------
    OutputError
        Another keeps it longer than `WAIT_S`, or it cannot be written.
    """
    from filelock import FileLock, Timeout

    lock = FileLock(campaign / LOCK, timeout=WAIT_S, mode=0o666)  # others in a shared folder must be able to lock it
    try:
        try:
            lock.acquire()
        except OSError as error:
            if error.errno not in _NO_LOCKS:
                raise
        yield
    except Timeout:
        raise OutputError(
            f"{campaign}: somebody else has been adding or changing runs for {WAIT_S:.0f} s. Try again when they"
            " are done."
        ) from None
    except OutputError:
        raise
    except OSError as error:
        raise OutputError(
            f"{campaign}: cannot be written ({error.strerror or error}). Check the folder's rights and the disk's room."
        ) from None
    finally:
        lock.release()


def put_run(folder: Path, contents: Mapping[str, bytes], replaced: Iterable[str] = ()) -> None:
    """Put files into a run's folder, all of them or none; the first is the one by which a run is known.

    Parameters
    ----------
    folder : Path
        The run's folder; made if it is not there. The campaign is kept by `writing`.
    contents : mapping of str to bytes
        Files by name.
    replaced : iterable of str
        Names of files that go, if they are there; what has one of the new names goes as well.
    """
    names = {*replaced, *contents}

    def old() -> list[str]:
        return [name for name in sorted(names) if (folder / name).is_file()]

    makers = {name: partial(bytes, content) for name, content in contents.items()}
    put_files(folder, makers, old, folder.name)


def change_record(campaign: Path, number: int, **changes: object) -> FiledRun:
    """Change fields of a run's run.json; each may be a value, or what makes it of the record as it is by then.

    Parameters
    ----------
    campaign : Path
        The campaign's folder.
    number : int
        The run.
    **changes : object
        By field.

    Raises
    ------
    CampaignError
        There is no such run, or it cannot be read.
    OutputError
        It cannot be written.
    """
    with writing(campaign):
        run = one_run(campaign, number)
        values = {name: value(run.record) if callable(value) else value for name, value in changes.items()}
        put_run(run.folder, {RUN: run_json(replace(run.record, **values))})  # type: ignore[arg-type]
    return read_run(run.folder)


def one_run(campaign: Path, number: int) -> FiledRun:
    """Read the run of a number; CampaignError, which names it, if it is not there or cannot be read."""
    folder = run_folder(campaign, number)
    if not folder.is_dir():
        numbers = run_numbers(campaign)
        there = f"They go from {numbers[0]} to {numbers[-1]}." if numbers else "It has no run yet."
        raise CampaignError(f"run {number}: the campaign has no such run. {there}")
    try:
        return read_run(folder)
    except CampaignError as error:
        raise CampaignError(f"run {number}: {error}") from None


def _keep_blank(campaign: Path, content: bytes, sum_: str, ending: str) -> str:
    """Keep a blank once, however many runs share it; how a run's folder leads to it."""
    name = f"{sum_[:_SUM_DIGITS]}{ending}"
    path = campaign / BLANKS / name
    if not path.is_file():
        save_files({path: content})
    return f"../../{BLANKS}/{name}"


def used_file(contents: dict[str, bytes], path: Path, name: str, called: str) -> UsedFile:
    """Take a file into the contents of a run's folder under a name; CampaignError if it cannot be read."""
    try:
        content = path.read_bytes()
    except OSError as error:
        raise CampaignError(f"{path}: cannot be read ({error.strerror}). Nothing was added.") from None
    contents[name] = content
    return UsedFile(called, name, text_sum(content))


def sources_of(folder: Path, record: RunRecord) -> RunSources:
    """The files that a filed run keeps, to measure it anew."""
    return RunSources(
        patch=folder / record.patch.file,
        photos={shot: folder / photo.file for shot, photo in record.photos.items()},
        debris=tuple(folder / used.file for used in record.debris),
        lens=None if record.lens is None else folder / record.lens.file,
        weighing=None if record.weighing is None else folder / record.weighing.file,
    )
