"""The runs that a page shows, read from the folders that hold their results."""

import csv
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path

from ..campaign.campaign_file import Campaign, read_campaign
from ..campaign.places import CAMPAIGN, RUN
from ..campaign.read_runs import read_runs
from ..campaign.records import (
    RUN_FORMAT,
    Figures,
    FiledRun,
    RunRecord,
    Unread,
    UsedDebris,
    UsedFile,
    Versions,
)
from ..campaign.result_file import MeasurementRecord, result_figures
from ..campaign.run_file import read_run
from ..errors import CampaignError, InputFileError
from ..inputs.text_file import file_content, file_text
from ..report.record import read_record
from ..serialize import JsonObject

RECORD, ZONES, GRAINS = "measurement.json", "zones.csv", "grains.csv"
#: Far more than a table takes.
_MOST_BYTES = 64_000_000
#: Folders of results are called so, and say nothing of the run.
_SAYS_NOTHING = ("result", "results", "out", "output")


@dataclass(frozen=True, slots=True, kw_only=True)
class PageRun:
    """A run to be shown.

    ``record`` is its measurement's, empty for a run that was weighed only; ``filed`` the run as its campaign has it. Of
    a result that is in no campaign, ``campaign`` is empty, and ``filed`` says that its machine is called as the run is.
    """

    name: str
    folder: Path
    record: JsonObject
    filed: FiledRun
    campaign: str = ""
    tables: Mapping[str, str] = field(default_factory=dict)

    @property
    def about(self) -> RunRecord | None:
        """What the campaign says of it; None without one."""
        return self.filed.record if self.campaign else None

    @property
    def figures(self) -> Figures:
        """Figures of its record."""
        return self.filed.figures

    @property
    def grains(self) -> list[dict[str, str]]:
        """Rows of grains.csv."""
        return list(csv.DictReader(self.tables.get(GRAINS, "").splitlines()))


@dataclass(frozen=True, slots=True, kw_only=True)
class Sources:
    """All that a page is made from: runs, the campaigns by their folders, and what could not be read of them."""

    runs: tuple[PageRun, ...]
    campaigns: Mapping[Path, Campaign] = field(default_factory=dict)
    unread: tuple[Unread, ...] = ()


def read_sources(folders: Iterable[Path]) -> Sources:
    """Read campaigns and runs.

    Parameters
    ----------
    folders : iterable of Path
        A campaign's folder, one of its runs' or one that ``debriscount measure`` wrote, each.

    Returns
    -------
    Sources
        Runs in the order given; of a campaign, all that are not withdrawn.

    Raises
    ------
    InputFileError, CampaignError
        A folder holds none of these, or its record is damaged. A run of a campaign that cannot be read keeps none of
        the others back.
    """
    runs: list[PageRun] = []
    campaigns: dict[Path, Campaign] = {}
    unread: list[Unread] = []
    for folder in folders:
        if (folder / CAMPAIGN).is_file():
            campaigns[folder] = read_campaign(folder)
            found = read_runs(folder)
            unread += found.unread
            kept = [filed for filed in found.runs if filed.record.withdrawn is None]
            if not kept:
                raise CampaignError(f"{folder}: has no runs to show yet. File one with debriscount run add.")
            runs += [_filed(filed, folder) for filed in kept]
        elif (folder / RUN).is_file():
            runs.append(_filed(read_run(folder), folder.resolve().parent.parent))
        else:
            runs.append(_measured(folder))
    return Sources(runs=_told_apart(runs), campaigns=campaigns, unread=tuple(unread))


def _filed(run: FiledRun, campaign: Path) -> PageRun:
    record = read_record(run.folder / RECORD) if run.record.result.file == RECORD else {}
    return PageRun(
        name=f"run {run.record.run}",
        folder=run.folder,
        record=record,
        filed=run,
        campaign=campaign.resolve().name or "campaign",
        tables=_tables(run.folder),
    )


def _measured(folder: Path) -> PageRun:
    if not (folder / RECORD).is_file():
        raise InputFileError(
            f"{folder}: holds no {RECORD}. Give a folder that debriscount measure wrote, or a campaign's."
        )
    record = read_record(folder / RECORD)
    place = folder.resolve()
    name = place.parent.name if place.name.lower() in _SAYS_NOTHING and place.parent.name else place.name
    try:
        filed = FiledRun(
            folder=folder, record=_alone(name, record), figures=result_figures(MeasurementRecord.model_validate(record))
        )
    except (KeyError, TypeError, ValueError, AttributeError) as error:
        raise damaged(folder / RECORD, error) from None
    return PageRun(name=name, folder=folder, record=record, filed=filed, tables=_tables(folder))


def _alone(name: str, record: JsonObject) -> RunRecord:
    """What would stand in run.json of a result that is in no campaign."""
    version = str(record.get("version", ""))
    return RunRecord(
        format=RUN_FORMAT,
        run=1,
        when="",
        machine=name,
        patch=UsedFile(str(record["patch"]["name"]), "", ""),
        debris=tuple(UsedDebris(kind=str(k["name"]), name=str(k["name"]), file="", sha256="") for k in record["kinds"]),
        photos={},
        result=UsedFile(RECORD, RECORD, ""),
        versions=Versions(version, version),
    )


def damaged(path: Path, error: Exception) -> InputFileError:
    """What is said of a record that is not whole."""
    what = f"{type(error).__name__}: {error}"
    return InputFileError(f"{path}: is not whole ({what[:200]}). Measure the photos again.")


def _tables(folder: Path) -> dict[str, str]:
    return {
        name: file_text(folder / name, "table", _MOST_BYTES) for name in (ZONES, GRAINS) if (folder / name).exists()
    }


def picture(folder: Path, name: str) -> bytes | None:
    """Content of a picture of a result; None where an older version has not written it."""
    return file_content(folder / name, "picture", _MOST_BYTES) if (folder / name).is_file() else None


def _told_apart(runs: list[PageRun]) -> tuple[PageRun, ...]:
    """Runs with a name of their own each."""
    seen: dict[str, int] = {}
    named = []
    for run in runs:
        seen[run.name] = seen.get(run.name, 0) + 1
        named.append(run if seen[run.name] == 1 else replace(run, name=f"{run.name} ({seen[run.name]})"))
    return tuple(named)
