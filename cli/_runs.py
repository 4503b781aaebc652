"""What commands that look at many runs have in common: which runs, and what of them."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from ._terminal import said_aside

if TYPE_CHECKING:
    from debriscount.compare.labels import CampaignRun
    from debriscount.compare.selected import Choice

Campaigns = Annotated[
    list[Path] | None,
    typer.Option(
        "--campaign", metavar="DIR", help="Campaign's folder; once for each. That around this folder if left out."
    ),
]
FigureName = Annotated[
    str, typer.Option("--figure", help="Figure: pickup, scale-pickup, left-mass, sound-level or another of the runs.")
]
Zones = Annotated[
    list[str] | None,
    typer.Option("--zone", help="Zone instead of the whole patch; several are taken together by their debris."),
]
Kind = Annotated[str | None, typer.Option("--kind", help="Kind of debris instead of all together.")]
Pass = Annotated[int | None, typer.Option("--pass", help="Number of the pass instead of the last.")]
WithoutDoubtful = Annotated[bool, typer.Option("--without-doubtful", help="Leave out runs whose figure is doubtful.")]
Without = Annotated[list[str] | None, typer.Option("--without", metavar="RUN", help="Leave out this run.")]
Json = Annotated[bool, typer.Option("--json", help="Print the record as JSON instead of the table.")]


def runs_of(campaigns: list[Path] | None) -> "list[CampaignRun]":
    """Read the runs of campaigns; what cannot be read is said aside."""
    from debriscount.campaign.places import find_campaign
    from debriscount.campaign.read_runs import read_runs
    from debriscount.compare.labels import campaign_runs

    folders = [find_campaign(folder) for folder in campaigns] if campaigns else [find_campaign(None)]
    read = {folder: read_runs(folder) for folder in folders}
    for folder, found in read.items():
        for unread in found.unread:
            said_aside(f"not read: {folder / 'runs' / unread.folder}: {unread.reason}")
    return campaign_runs({folder: found.runs for folder, found in read.items()})


def keys_of(texts: list[str] | None) -> list[str]:
    """Keys out of options that hold one or several, parted by commas."""
    return [key.strip() for text in texts or [] for key in text.split(",") if key.strip()]


def choice_of(
    figure: str,
    zones: list[str] | None,
    kind: str | None,
    number: int | None,
    without_doubtful: bool,
    without: list[str] | None,
) -> "Choice":
    """What is looked at, as the options say."""
    from debriscount.compare.selected import Choice

    return Choice(
        figure=figure,
        zones=tuple(keys_of(zones)) or None,
        kind=kind,
        number=number,
        without_doubtful=without_doubtful,
        without=tuple(keys_of(without)),
    )
