"""A filed run: what its run.json says, and the figures of the records beside it."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import ClassVar, Literal, TypeVar

from ..flags import Flag

Photo = TypeVar("Photo")
#: How run.json says what it is.
RUN_FORMAT: Literal["debriscount/run/1"] = "debriscount/run/1"


@dataclass(frozen=True, slots=True)
class UsedFile:
    """A file that a run was made with, kept in the run's folder; ``name`` is that of what it describes."""

    name: str
    file: str
    sha256: str


@dataclass(frozen=True, slots=True, kw_only=True)
class UsedDebris:
    """A kind of debris that was strewn: ``kind`` as results name it, ``name`` and ``batch`` as the campaign does."""

    kind: str
    name: str
    file: str
    sha256: str
    batch: str = ""


@dataclass(frozen=True, slots=True)
class FiledPhoto:
    """A photo of a run; ``file`` leads to it from the run's folder, ``named`` is what it was called before."""

    file: str
    sha256: str
    named: str = ""
    taken: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class SideMeasurement:
    """A measurement beside the photos, as it was read: nothing is converted.

    ``quantity`` is a name out of `debriscount.campaign.side.QUANTITIES`; ``values`` are readings in ``unit``, with
    ``uncertainty`` (standard, in the same unit) of each where it is known. ``at`` says under which setting or where.
    """

    #: What pydantic reads from a file has finite numbers alone.
    __pydantic_config__: ClassVar[Mapping[str, bool]] = {"allow_inf_nan": False}

    quantity: str
    values: tuple[float, ...]
    unit: str
    uncertainty: float | None = None
    instrument: str = ""
    at: str = ""
    when: str = ""


@dataclass(frozen=True, slots=True)
class Note:
    """A remark on a run, with the day and time it was made."""

    when: str
    text: str


@dataclass(frozen=True, slots=True)
class Withdrawn:
    """Since when, and why, a run counts no more."""

    when: str
    why: str


@dataclass(frozen=True, slots=True)
class Versions:
    """Which debriscount filed a run, and which made its present record, and when.

    ``round`` is the mark of the remeasuring that did; "" for none.
    """

    filed: str
    measured: str
    measured_when: str = ""
    round: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class RunSources:
    """Files that a run is measured from; ``photos`` as in `RunRecord`, empty for a run that was weighed only."""

    patch: Path
    photos: Mapping[str, Path]
    debris: tuple[Path, ...] = ()
    lens: Path | None = None
    weighing: Path | None = None


def shot_of(photo: str) -> str:
    """The shot that a photo of a run belongs to, by the photo's name there."""
    return photo.partition("-")[0]


def by_shot(photos: Mapping[str, Photo]) -> dict[str, list[Photo]]:
    """Photos of a run by shot, in their order."""
    shots: dict[str, list[Photo]] = {}
    for name, photo in photos.items():
        shots.setdefault(shot_of(name), []).append(photo)
    return shots


@dataclass(frozen=True, slots=True, kw_only=True)
class RunRecord:
    """What run.json says of a run.

    ``when`` is local time in ISO 8601 without a zone. ``planned`` is the number of the planned run that it is, and
    ``block`` that run's block. ``photos`` is keyed by shot: "blank", "before", "after", "after2" and so on, and
    "before-1", "before-2" where several photos that overlap make a shot (`shot_of`); empty for a run that was weighed
    only. ``result`` is measurement.json, or weighing.json of a run without photos, and ``files`` are all files of the
    result. ``weighing`` is None for a run that was photographed only.
    """

    format: Literal["debriscount/run/1"]
    run: int
    when: str
    machine: str
    patch: UsedFile
    debris: tuple[UsedDebris, ...]
    photos: Mapping[str, FiledPhoto]
    result: UsedFile
    files: tuple[str, ...] = ()
    versions: Versions
    software: str = ""
    settings: Mapping[str, str] = field(default_factory=dict)
    floor: str = ""
    block: str = ""
    planned: int | None = None
    lens: UsedFile | None = None
    weighing: UsedFile | None = None
    side: tuple[SideMeasurement, ...] = ()
    notes: tuple[Note, ...] = ()
    withdrawn: Withdrawn | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class FiledFigure:
    """Pickup of one zone, and what lay there; what cannot be known is None. Percent, mm² and grams."""

    pickup_percent: float | None
    more_than_percent: float | None
    interval95: tuple[float, float] | None
    gone_percent: float | None
    trust: str
    why: str
    before_mm2: float
    after_mm2: float
    before_g: float | None
    after_g: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class FiledPass:
    """Figures after one pass, against *before*; ``zones`` by "patch" and zone, ``kinds`` by kind and then by zone."""

    number: int
    zones: Mapping[str, FiledFigure]
    kinds: Mapping[str, Mapping[str, FiledFigure]]
    untouched_percent: float | None = None


@dataclass(frozen=True, slots=True)
class WeighedFigure:
    """A figure by scale, percent, with its standard uncertainty and 95 % interval."""

    percent: float
    u_percent: float
    interval95: tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class FiledAgreement:
    """Photo against scale in a run; ``cause`` is the likeliest of a difference, if one was told."""

    photo_percent: float
    photo_u: float
    scale_percent: float
    scale_u: float
    verdict: str
    cause: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Figures:
    """What the records beside run.json say.

    ``passes`` is empty for a run that was weighed only. ``weighed`` holds, of "pickup", "by_collection", "by_residue",
    "elsewhere", "unaccounted" and, of hair, "hair_bin", "hair_brush", "hair_left" and "hair_wrap", what is known; empty
    for a run that was photographed only. ``flags`` are what measuring noticed, of each shot too.
    """

    passes: tuple[FiledPass, ...] = ()
    weighed: Mapping[str, WeighedFigure] = field(default_factory=dict)
    agreement: FiledAgreement | None = None
    flags: tuple[Flag, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class FiledRun:
    """A run as its folder has it."""

    folder: Path
    record: RunRecord
    figures: Figures


@dataclass(frozen=True, slots=True)
class Unread:
    """A folder under runs/ that could not be read, and why, in a sentence that does not name it."""

    folder: str
    reason: str


@dataclass(frozen=True, slots=True)
class RunsRead:
    """The runs of a campaign in the order of their numbers, and what could not be read."""

    runs: tuple[FiledRun, ...]
    unread: tuple[Unread, ...] = ()
