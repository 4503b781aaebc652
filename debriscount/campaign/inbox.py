"""Photos in the inbox, and which of them are the shots of the next run."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from hashlib import sha256
from itertools import pairwise
from pathlib import Path

from ..errors import CampaignError, PhotoFileError
from ..flags import listed
from ..photo.files import ENDINGS
from .file_run import photo_bytes
from .records import FiledRun

#: Neither strewing nor a machine is done sooner.
_LEAST_BETWEEN_S = 5.0


@dataclass(frozen=True, slots=True, kw_only=True)
class InboxPhoto:
    """A photo in the inbox; ``taken`` is when, in ISO 8601, by its own file or, if not ``by_camera``, by the disk."""

    path: Path
    sha256: str
    taken: str
    by_camera: bool


@dataclass(frozen=True, slots=True)
class ChosenShots:
    """Photos by shot, and for each sentence that says why; ``passed_over`` are photos that were left, and why."""

    photos: Mapping[str, InboxPhoto]
    reasons: tuple[str, ...]
    passed_over: tuple[str, ...] = ()


def look_into(inbox: Path) -> tuple[tuple[InboxPhoto, ...], tuple[str, ...]]:
    """Return the photos in a folder in order of time, and a sentence for each that cannot be read.

    Raises
    ------
    CampaignError
        The folder cannot be looked into.
    """
    try:
        paths = [p for p in inbox.iterdir() if p.suffix.lower() in ENDINGS and not p.name.startswith(".")]
    except FileNotFoundError:
        paths = []
    except OSError as error:
        raise CampaignError(f"{inbox}: cannot be looked into ({error.strerror}). Check the folder's rights.") from None
    found, faults = [], []
    for path in sorted(paths):
        try:
            found.append(inbox_photo(path))
        except PhotoFileError as error:
            faults.append(f"{path.name} is left out: {str(error).removeprefix(f'{path}: ')}")
    return tuple(sorted(found, key=lambda photo: (photo.taken, photo.path.name))), tuple(faults)


def inbox_photo(path: Path) -> InboxPhoto:
    """Return a photo with when it was taken; PhotoFileError if it cannot be read."""
    from ..photo.decode import settings_told

    content = photo_bytes(path)
    try:
        taken = settings_told(content).taken
    except PhotoFileError as error:
        raise PhotoFileError(f"{path}: {error}") from None
    written = datetime.fromtimestamp(path.stat().st_mtime).isoformat(timespec="seconds")
    return InboxPhoto(
        path=path, sha256=sha256(content).hexdigest(), taken=taken or written, by_camera=taken is not None
    )


def choose_shots(
    photos: Sequence[InboxPhoto], passes: int, runs: Sequence[FiledRun], *, shared_blank: bool
) -> ChosenShots:
    """Choose the shots of the next run.

    Parameters
    ----------
    photos : sequence of InboxPhoto
        In order of time.
    passes : int
        How many photos after a pass the run has.
    runs : sequence of FiledRun
        Those of the campaign: photos of theirs are passed over, unless they were withdrawn.
    shared_blank : bool
        Whether a blank is at hand already; then none is looked for.

    Returns
    -------
    ChosenShots

    Raises
    ------
    CampaignError
        There are too few photos, or nothing tells in which order they were taken.

    Notes
    -----
    The newest photos count, since who adds a run has just made it. They are before and after the passes; the one before
    them is the blank, unless a blank is shared.
    """
    counting = [run.record for run in runs if run.record.withdrawn is None]
    filed = {photo.sha256: record.run for record in counting for photo in record.photos.values()}
    passed_over = [
        f"{photo.path.name} is passed over: run {filed[photo.sha256]} has it already"
        for photo in photos
        if photo.sha256 in filed
    ]
    left = list({photo.sha256: photo for photo in photos if photo.sha256 not in filed}.values())
    needed = passes + 1
    if len(left) < needed:
        have = listed([photo.path.name for photo in left]) if left else "none"
        rest = f", besides {len(passed_over)} that are in runs already" if passed_over else ""
        wanted = f"before and {passes} after" if passes > 1 else "before and after"
        raise CampaignError(
            f"the inbox must hold {needed} photos that are in no run yet ({wanted}), it has {have}{rest}. Copy the"
            " photos there, or name them with --before and --after."
        )
    own_blank = not shared_blank and len(left) > needed
    chosen = left[-needed - own_blank :]
    older = left[: -needed - own_blank]
    _check_order(chosen)
    passed_over += [f"{photo.path.name} is passed over: it is older, taken {_clock(photo)}" for photo in older]
    names = ["blank"] * own_blank + ["before", "after", *(f"after{n}" for n in range(2, passes + 1))]
    shots = dict(zip(names, chosen, strict=True))
    reasons = [f"{shot}: {photo.path.name}, taken {_clock(photo)}, {_why(shot)}" for shot, photo in shots.items()]
    if not all(photo.by_camera for photo in chosen):
        reasons.append(
            "Some of these photos do not say when they were taken; the time of their files stands for it. Look whether"
            " the order is right."
        )
    return ChosenShots(shots, tuple(reasons), tuple(passed_over))


def _check_order(chosen: Sequence[InboxPhoto]) -> None:
    """Refuse photos that do not tell their time, and whose files were written at nearly one time, as copies are."""
    for one, other in pairwise(chosen):
        apart_s = (datetime.fromisoformat(other.taken) - datetime.fromisoformat(one.taken)).total_seconds()
        if not (one.by_camera and other.by_camera) and apart_s < _LEAST_BETWEEN_S:
            raise CampaignError(
                f"{one.path.name} and {other.path.name} do not tell which was taken first: the camera's time is not"
                f" in both, and their files were written {apart_s:.0f} s apart, as copies are. Name them with --before"
                " and --after, and the clean floor with --blank."
            )


def _why(shot: str) -> str:
    if shot == "blank":
        return "the last one before the shots of the run"
    if shot == "before":
        return "the first of the run's shots"
    number = int(shot.removeprefix("after") or 1)
    return "next after that" if number == 1 else f"the one after pass {number}"


def _clock(photo: InboxPhoto) -> str:
    return photo.taken.replace("T", " ")
