"""Where the things of a campaign lie."""

from pathlib import Path

from ..errors import CampaignError

#: The file that makes a folder a campaign.
CAMPAIGN = "campaign.toml"
INBOX, RUNS, BLANKS, DEBRIS = "inbox", "runs", "blanks", "debris"
#: The record that makes a folder a run.
RUN = "run.json"


def find_campaign(given: Path | None, start: Path | None = None) -> Path:
    """Return a campaign's folder: the one that is given, or the one around the present folder.

    Parameters
    ----------
    given : Path or None
        The folder, if a person named it.
    start : Path, optional
        Where to look from upward; the present folder if not given.

    Raises
    ------
    CampaignError
        There is no campaign there.
    """
    if given is not None:
        if not (given / CAMPAIGN).is_file():
            raise CampaignError(
                f"{given}: holds no {CAMPAIGN}, so it is no campaign. Give a campaign's folder, or make one with:"
                f" debriscount campaign new {given}"
            )
        return given
    found = around(start)
    if found is not None:
        return found
    raise CampaignError(
        f"there is no {CAMPAIGN} here or above. Go into a campaign's folder, or name it with --campaign."
    )


def around(start: Path | None = None) -> Path | None:
    """The campaign's folder around a folder, the present one if none is given; None where there is none."""
    here = (start or Path()).resolve()
    return next((folder for folder in (here, *here.parents) if (folder / CAMPAIGN).is_file()), None)


def run_folder(campaign: Path, number: int) -> Path:
    """Folder of the run of that number."""
    return campaign / RUNS / f"{number:04d}"
