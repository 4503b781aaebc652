"""``debriscount campaign``."""

from pathlib import Path
from typing import Annotated

import typer

from ._group import ErrorsToExitCodes
from ._interview import Interview
from ._options import Yes
from ._terminal import said_aside

campaign = typer.Typer(cls=ErrorsToExitCodes, help="Set up a campaign: a folder of runs that belong together.")


@campaign.callback()
def _group() -> None:
    pass


@campaign.command()
def new(
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="Folder to make, or one to make a campaign of.")],
    *,
    patch: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Patch file; a copy goes into the campaign.")
    ] = None,
    debris: Annotated[
        list[str] | None,
        typer.Option(metavar="NAME", help="Kind of debris, by name or file; once for each. All are strewn as a rule."),
    ] = None,
    name: Annotated[str | None, typer.Option(help="Name of the campaign; that of the folder if not given.")] = None,
    floor: Annotated[
        list[str] | None, typer.Option(metavar="NAME", help="Floor; once for each, the usual first.")
    ] = None,
    machine: Annotated[
        list[str] | None, typer.Option(metavar="NAME", help="Machine under a name of your own; once for each.")
    ] = None,
    setting: Annotated[
        list[str] | None,
        typer.Option(metavar="KEY=VALUE", help='Usual setting of all machines, such as "brush=rubber"; once for each.'),
    ] = None,
    passes: Annotated[str | None, typer.Option(metavar="N", help="Photos after a pass in every run.")] = None,
    blank: Annotated[
        str | None, typer.Option(metavar="PHOTO", help="Photo of the clean floor that all runs share; a copy is kept.")
    ] = None,
    lens: Annotated[Path | None, typer.Option(metavar="FILE", help="Lens file of the camera.")] = None,
    scale: Annotated[
        str | None, typer.Option("--scale-step", metavar="G", help="Smallest step of the scale's display, or none.")
    ] = None,
    yes: Yes = False,
) -> None:
    """Make a campaign: asks what all its runs have in common.

    Answers can be taken back with "-", and corrected one by one before anything is written.
    """
    from debriscount.campaign.campaign_write import campaign_toml, make_campaign
    from debriscount.campaign.places import CAMPAIGN
    from debriscount.errors import CampaignError

    from ._campaign_answers import gather_campaign

    if (folder / CAMPAIGN).exists():
        raise CampaignError(f"{folder}: is a campaign already. Change its {CAMPAIGN}, or give another folder.")
    given = {"patch": None if patch is None else str(patch), "name": name, "passes": passes, "scale": scale}
    given |= {"debris": _listed(debris), "floor": _listed(floor), "machine": _listed(machine)}
    given |= {"setting": _listed(setting), "blank": blank}
    interview = Interview(CampaignError, silent=yes)
    made = interview.corrected(
        lambda ask: gather_campaign(folder, given, lens, ask),
        lambda made: campaign_toml(made.campaign),
        f"Make this campaign in {folder}?",
    )
    make_campaign(folder, made.campaign, made.patch, made.debris, lens, made.blank)
    said_aside(f"made {folder}. Copy photos into {folder / 'inbox'}, go into the folder, and add each run with")
    typer.echo("debriscount run add", err=True)


def _listed(values: list[str] | None) -> str | None:
    return None if values is None else ", ".join(values)
