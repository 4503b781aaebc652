"""campaign.toml as text, and the folder of a new campaign."""

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import tomlkit

from ..errors import CampaignError
from ..inputs.debris_names import debris_slug
from ..inputs.save import save_files
from ..inputs.text_file import file_content, file_text
from ..inputs.toml_write import toml_table, toml_text
from .campaign_file import Campaign, PlannedRun
from .places import BLANKS, CAMPAIGN, DEBRIS, INBOX, RUNS

_REMARKS = {
    "patch": "from this folder",
    "debris": "what is strewn unless a run says otherwise",
    "floor": "one of [[floors]]",
    "passes": "photos after a pass in every run",
    "batch": "raise it when a new bag is opened",
    "software": "version of the machine's software",
    "settings": "usual settings, key = value",
    "readability_g": "smallest step of the display",
}
_HEAD = "A campaign of debriscount. Change it by hand as you like; debriscount manual campaign tells how."
#: A photo takes most.
_MOST_BYTES = 1_000_000_000
#: What version control need not keep.
_IGNORED = "# derived, and made anew when needed\n/runs/.index.json\n/runs/.remeasure.json\n/.lock\n.*.part/\n"


def campaign_toml(campaign: Campaign) -> str:
    """Return a campaign as the text of its file, which `read_campaign` reads as the same campaign."""
    return toml_text(campaign.model_dump(exclude_defaults=True), _REMARKS, head=_HEAD)


def make_campaign(
    folder: Path,
    campaign: Campaign,
    patch: Path,
    debris: Sequence[Path],
    lens: Path | None = None,
    blank: Path | None = None,
) -> None:
    """Make a campaign's folder: its file, copies of patch, debris and lens files, and room for photos and runs.

    Parameters
    ----------
    folder : Path
        Made if it is not there.
    campaign : Campaign
        What its file says; patch and lens lie in the folder, the debris under debris/.
    patch, lens, blank : Path
        Files that are copied; the last two if there are any.
    debris : sequence of Path
        Files of the kinds, copied under their names.

    Raises
    ------
    CampaignError
        There is a campaign already.
    OutputError
        It cannot be written.
    """
    if (folder / CAMPAIGN).exists():
        raise CampaignError(f"{folder}: is a campaign already. Change its {CAMPAIGN}, or give another folder.")
    copies = {folder / DEBRIS / f"{debris_slug(path.stem)}.toml": path for path in debris}
    copies[folder / campaign.campaign.patch] = patch
    if lens is not None:
        copies[folder / campaign.campaign.lens] = lens
    if blank is not None:
        copies[folder / campaign.campaign.blank] = blank
    contents = {to: file_content(source, "file", _MOST_BYTES) for to, source in copies.items()}
    contents[folder / ".gitignore"] = _IGNORED.encode()
    # What an attempt that was stopped has left is there already.
    missing = {to: content for to, content in contents.items() if not _holds(to, content)}
    if missing:
        save_files(missing)
    for name in (INBOX, RUNS, BLANKS):
        (folder / name).mkdir(parents=True, exist_ok=True)
    save_files({folder / CAMPAIGN: campaign_toml(campaign).encode()})  # last: by it the folder is a campaign


def add_machine(folder: Path, name: str, settings: Mapping[str, str]) -> None:
    """Add a machine to a campaign's file, in which all else stays as it is written."""
    path = folder / CAMPAIGN
    document: Any = tomlkit.parse(file_text(path, "campaign file"))
    machines = document.get("machines")
    if machines is None:
        machines = tomlkit.aot()
        document.add("machines", machines)
    machine = tomlkit.table()
    machine.add("name", name)
    if settings:
        machine.add("settings", dict(settings))
    machines.append(machine)
    save_files({path: tomlkit.dumps(document).encode()}, overwrite=True)


def plan_runs(folder: Path, planned: Sequence[PlannedRun]) -> None:
    """Put planned runs into a campaign's file, behind those that stand there; all else stays as it is written."""
    path = folder / CAMPAIGN
    document: Any = tomlkit.parse(file_text(path, "campaign file"))
    entries = document.get("planned")
    if entries is None:
        entries = tomlkit.aot()
        document.add("planned", entries)
    for run in planned:
        entries.append(toml_table(run.model_dump(exclude_defaults=True), _REMARKS))
    save_files({path: tomlkit.dumps(document).encode()}, overwrite=True)


def _holds(path: Path, content: bytes) -> bool:
    return path.is_file() and path.read_bytes() == content
