"""The next run of a campaign, from its photos to its folder."""

from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from hashlib import sha256
from pathlib import Path

from ..errors import CampaignError, DebriscountError
from ..inputs.debris_file import read_debris
from ..inputs.debris_names import find_debris
from ..inputs.patch_file import read_patch
from ..inputs.weighing_file import read_weighing
from ..photo.files import photos_in
from .campaign_file import Campaign
from .campaign_write import add_machine
from .file_run import NewRun, file_run, now, photo_bytes, refuse_filed
from .inbox import ChosenShots, InboxPhoto, choose_shots, inbox_photo, look_into
from .next_run import RunChoice
from .places import DEBRIS, INBOX, RUN
from .records import FiledRun, RunSources, by_shot
from .run_file import text_sum

WEIGHING = "weighing.toml"

Progress = Callable[[float, str], None]
#: Measures a run from its files: the files of its result, the record first.
Measured = Callable[[RunSources, Progress | None], Mapping[str, bytes]]


def shots_by_name(blank: Path | None, before: Path, afters: Sequence[Path]) -> dict[str, InboxPhoto]:
    """Return photos that a person named, as a run keys them; PhotoFileError if one cannot be read.

    A folder holds photos that overlap and make one shot.
    """
    paths = {} if blank is None else {"blank": blank}
    paths |= {"before": before}
    paths |= {"after" if number == 1 else f"after{number}": after for number, after in enumerate(afters, start=1)}
    return {name: inbox_photo(path) for shot, given in paths.items() for name, path in _photos_of(shot, given).items()}


def _photos_of(shot: str, given: Path) -> dict[str, Path]:
    """A shot's photo or, where a folder is given, those in it, as a run keys them."""
    if not given.is_dir():
        return {shot: given}
    found = photos_in(given)
    return {shot: found[0]} if len(found) == 1 else {f"{shot}-{k}": path for k, path in enumerate(found, start=1)}


def shots_of_inbox(home: Path, campaign: Campaign, runs: Sequence[FiledRun], passes: int | None) -> ChosenShots:
    """Choose the shots of the next run from the inbox; CampaignError if there are too few.

    Folders there that are called after the shots hold photos that overlap, and go before single photos.
    """
    inbox = home / INBOX
    if (inbox / "before").is_dir():
        afters = [inbox / "after", *(inbox / f"after{number}" for number in range(2, 11))]
        blank = inbox / "blank" if (inbox / "blank").is_dir() else None
        there = [after for after in afters if after.is_dir()]
        if not there:
            raise CampaignError(f"{inbox}: holds the folder before, but none called after. Put one beside it.")
        named = shots_by_name(blank, inbox / "before", there)
        return ChosenShots(named, tuple(_folder_lines(named)))
    photos, faults = look_into(inbox)
    chosen = choose_shots(photos, passes or campaign.campaign.passes, runs, shared_blank=bool(campaign.campaign.blank))
    return ChosenShots(chosen.photos, chosen.reasons, (*faults, *chosen.passed_over))


def _folder_lines(photos: Mapping[str, InboxPhoto]) -> list[str]:
    shots = by_shot(photos)
    return [f"{shot}: {len(those)} photos in the inbox's folder {shot}" for shot, those in shots.items()]


def with_shared_blank(home: Path, campaign: Campaign, photos: Mapping[str, InboxPhoto]) -> dict[str, InboxPhoto]:
    """Return the shots with the campaign's shared blank, if it has one and they have none."""
    if "blank" in by_shot(photos) or not campaign.campaign.blank or not photos:
        return dict(photos)
    shared = _photos_of("blank", home / campaign.campaign.blank)
    return {**{name: inbox_photo(path) for name, path in shared.items()}, **photos}


def waiting_weighing(home: Path, runs: Sequence[FiledRun]) -> tuple[Path | None, str]:
    """Return the weighing that waits for its run in a campaign's folder, and a sentence where one waits in vain.

    A file that was filed, and not taken away since the process was stopped, is older than its run.
    """
    path = home / WEIGHING
    if (home / "weighing.answers.json").is_file():
        return (
            None,
            "a weighing is begun and not finished, so the run goes without it: finish it with debriscount weigh",
        )
    if not path.is_file():
        return None, ""
    sum_ = text_sum(path.read_bytes())
    for run in runs:
        used = run.record.weighing
        if used is not None and used.sha256 == sum_:
            with suppress(OSError):
                if path.stat().st_mtime < (run.folder / RUN).stat().st_mtime:
                    return None, f"{WEIGHING} is that of run {run.record.run}, and is left aside"
    return path, ""


def new_run(
    home: Path,
    campaign: Campaign,
    choice: RunChoice,
    photos: Mapping[str, InboxPhoto],
    weighing: Path | None,
    note: str = "",
) -> NewRun:
    """Return what is to be filed, with all files found and read once.

    Parameters
    ----------
    home : Path
        The campaign's folder.
    campaign : Campaign
        What its file says.
    choice : RunChoice
        Machine, settings, floor and debris.
    photos : mapping of str to InboxPhoto
        By shot; empty for a run that was weighed only.
    weighing : Path or None
        What the scale said.
    note : str
        A remark.

    Raises
    ------
    CampaignError
        Nothing tells the machine, or there is neither a photo nor a weighing.
    InputFileError
        Patch, debris or weighing file have a fault.
    """
    if not choice.machine:
        raise CampaignError("nothing tells which machine ran. Give it with --machine, under a name of your own.")
    if not photos and weighing is None:
        raise CampaignError("a run needs photos or a weighing. Give one of them.")
    common = campaign.campaign
    files = [find_debris(name, home / DEBRIS) for name in choice.debris]
    kinds = [read_debris(file).name for file in files]
    patch = home / common.patch
    patch_name = read_patch(patch).name
    if weighing is not None:
        read_weighing(weighing)
    when = by_shot(photos)["before"][0].taken if photos else now()
    return NewRun(
        when=when,
        machine=choice.machine,
        software=choice.software,
        settings=choice.settings,
        floor=choice.floor,
        block=choice.block,
        planned=choice.planned,
        patch_name=patch_name,
        kinds=tuple(kinds),
        batches=tuple(campaign.batch(file.stem) for file in files),
        sources=RunSources(
            patch=patch,
            photos={shot: photo.path for shot, photo in photos.items()},
            debris=tuple(files),
            lens=home / common.lens if common.lens else None,
            weighing=weighing,
        ),
        taken={shot: photo.taken if photo.by_camera else None for shot, photo in photos.items()},
        note=note,
    )


def add_run(
    home: Path,
    campaign: Campaign,
    new: NewRun,
    photos: Mapping[str, InboxPhoto],
    runs: Sequence[FiledRun],
    measured: Measured,
    progress: Progress | None = None,
) -> FiledRun:
    """Measure a run and file it, and take its photos out of the inbox.

    Parameters
    ----------
    home : Path
        The campaign's folder.
    campaign : Campaign
        What its file says.
    new : NewRun
        What `new_run` made.
    photos : mapping of str to InboxPhoto
        Its photos, by shot.
    runs : sequence of FiledRun
        Those there are.
    measured : callable
        Measures a run.
    progress : callable, optional
        Told the share done, 0 to 1, and what is being done.

    Returns
    -------
    FiledRun

    Raises
    ------
    CampaignError
        The campaign has those photos already, in one line.
    DebriscountError
        As measuring does. Nothing is filed then, and the inbox stays as it is.
    """
    sums = {shot: photo.sha256 for shot, photo in photos.items()}
    refuse_filed(runs, sums, new.taken)
    result = measured(new.sources, progress)
    filed = file_run(home, new, result, sums)
    _clear(home, filed, photos, new.sources.weighing)
    if not any(one.name.casefold() == new.machine.casefold() for one in campaign.machines):
        add_machine(home, new.machine, {})
    return filed


def _clear(home: Path, filed: FiledRun, photos: Mapping[str, InboxPhoto], weighing: Path | None) -> None:
    """Take what is filed out of the inbox; what is not the same any more stays."""
    inbox = (home / INBOX).resolve()
    sums = {photo.sha256 for photo in filed.record.photos.values()}
    for photo in photos.values():
        with suppress(OSError, DebriscountError):
            folder = photo.path.resolve().parent
            if inbox in (folder, folder.parent) and sha256(photo_bytes(photo.path)).hexdigest() in sums:
                photo.path.unlink()
                if folder != inbox and not any(folder.iterdir()):
                    folder.rmdir()
    if weighing is not None and weighing.resolve() == (home / WEIGHING).resolve():
        weighing.unlink(missing_ok=True)
