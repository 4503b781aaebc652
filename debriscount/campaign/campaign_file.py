"""campaign.toml: what all runs of a campaign have in common, read and checked."""

from collections.abc import Mapping
from pathlib import Path
from typing import Annotated, Any

from pydantic import BeforeValidator, Field
from pydantic_core import PydanticCustomError

from ..errors import CampaignError
from ..inputs.faults import FileName, Name, Number, Remark, Table, closest, validated
from ..inputs.names import MOST_NAME
from ..inputs.toml_text import read_toml
from ..inputs.weighing import MOST_G
from ..printable import spoils
from .places import CAMPAIGN

#: More than anybody keeps in one campaign.
_MOST_ENTRIES = 10_000
#: More than any setting of a machine is called.
_MOST_SETTINGS = 100


def _setting(value: object) -> str:
    """A setting as text: ``3`` and ``"3"`` are one, and so are ``true`` and ``"true"``."""
    text = str(value).lower() if isinstance(value, bool) else f"{value:g}" if isinstance(value, float) else str(value)
    text = text.strip()
    if not isinstance(value, str | int | float) or not text or len(text) > MOST_NAME or spoils(text):
        fault = f"must be a word or a number of at most {MOST_NAME} characters"
        raise PydanticCustomError("name", "{fault}", {"fault": fault})
    return text


def _setting_names(value: object) -> object:
    if isinstance(value, Mapping):
        for name in value:
            if not name.strip() or len(name) > MOST_NAME or spoils(name) or "=" in name:
                fault = f'holds "{name}", which cannot be the name of a setting'
                raise PydanticCustomError("name", "{fault}", {"fault": fault})
    return value


Setting = Annotated[str, BeforeValidator(_setting)]
Settings = Annotated[dict[str, Setting], BeforeValidator(_setting_names), Field(max_length=_MOST_SETTINGS)]
_Grams = Annotated[Number, Field(gt=0, le=MOST_G)]
_Label = Annotated[str, Field(max_length=MOST_NAME)]


class Common(Table):
    """What a run is made with unless it is said otherwise; files by their paths from the campaign's folder."""

    name: Name = Field(description="Give the campaign a name.")
    patch: FileName = Field(default="patch.toml", description="Name the patch file, from the campaign's folder.")
    debris: tuple[Name, ...] = Field(default=(), max_length=100, description="Name the kinds of debris, or none.")
    floor: _Label = Field(default="", description="Name the usual floor out of [[floors]], or leave it out.")
    blank: _Label = Field(default="", description="Name the photo of the clean floor that runs share, or leave it out.")
    lens: _Label = Field(default="", description="Name the camera's lens file, or leave it out.")
    passes: Annotated[int, Field(strict=True, ge=1, le=100)] = Field(
        default=1, description="Give how many photos after a pass a run has."
    )


class DebrisBatch(Table):
    """A kind of debris of the campaign, with the batch that is in use."""

    name: Name = Field(description="Name the kind as its file is called, such as red-lentils.")
    batch: _Label = Field(default="", description="Say which batch is in use, or leave it out.")


class Floor(Table):
    """A floor that the campaign tests on."""

    name: Name = Field(description="Give the floor a name.")
    note: Remark = Field(default="", description="Say what is to be known of it, or leave it out.")


class Machine(Table):
    """A machine under the tester's own name, with the settings it usually has."""

    name: Name = Field(description="Give the machine a name of your own.")
    software: _Label = Field(default="", description="Give the version of its software, or leave it out.")
    settings: Settings = Field(default_factory=dict, description='Give settings as key = value, such as brush = "a".')
    note: Remark = Field(default="", description="Say what is to be known of it, or leave it out.")


class CampaignScale(Table):
    """The scale in use, in grams, and cup and bin when they are clean."""

    unit: str = Field(default="g", pattern="^(g|oz)$", description='Give "g" or "oz", as the scale shows.')
    readability_g: _Grams = Field(default=0.1, description="Give the smallest step of the display.")
    repeatability_g: _Grams | None = Field(default=None, description="Give the standard deviation, or leave it out.")
    linearity_g: _Grams | None = Field(default=None, description="Give the greatest error, or leave it out.")
    cup_g: _Grams | None = Field(default=None, description="Give the clean cup, or leave it out.")
    bin_g: _Grams | None = Field(default=None, description="Give the machine's clean bin, or leave it out.")


class PlannedRun(Table):
    """A run that is to be made; what is left out is as usual."""

    machine: Name = Field(description="Name the machine.")
    settings: Settings = Field(default_factory=dict, description="Give settings that are not the machine's usual ones.")
    floor: _Label = Field(default="", description="Name the floor, or leave it out.")
    debris: tuple[Name, ...] = Field(default=(), max_length=100, description="Name the debris, or leave it out.")
    block: Setting = Field(default="", validate_default=False, description="Name the block, or leave it out.")


class Campaign(Table):
    """What campaign.toml says."""

    campaign: Common = Field(description="Say under [campaign] what all runs have in common.")
    debris: tuple[DebrisBatch, ...] = Field(default=(), max_length=_MOST_ENTRIES)
    floors: tuple[Floor, ...] = Field(default=(), max_length=_MOST_ENTRIES)
    machines: tuple[Machine, ...] = Field(default=(), max_length=_MOST_ENTRIES)
    scale: CampaignScale | None = Field(default=None)
    planned: tuple[PlannedRun, ...] = Field(default=(), max_length=_MOST_ENTRIES)

    def machine(self, name: str) -> Machine:
        """Return the machine of that name.

        Raises
        ------
        CampaignError
            There is none.
        """
        for machine in self.machines:
            if machine.name.casefold() == name.casefold():
                return machine
        known = [machine.name for machine in self.machines]
        raise CampaignError(
            f'machine "{name}" is none of the campaign\'s. {closest(name, known) if known else "It has none yet."}'
            f" Add a [[machines]] entry to {CAMPAIGN} for a new one."
        )

    def batch(self, debris: str) -> str:
        """Batch of a kind that is in use; "" where none is told."""
        return next((one.batch for one in self.debris if one.name.casefold() == debris.casefold()), "")


def read_campaign(folder: Path) -> Campaign:
    """Read a campaign's file.

    Parameters
    ----------
    folder : Path
        The campaign's folder.

    Returns
    -------
    Campaign

    Raises
    ------
    InputFileError
        With file, line, key and value, for whatever is wrong.
    """
    toml = read_toml(folder / CAMPAIGN, "campaign file")
    campaign = validated(Campaign, toml)
    lists: tuple[tuple[str, tuple[Any, ...]], ...] = (
        ("debris", campaign.debris),
        ("floors", campaign.floors),
        ("machines", campaign.machines),
    )
    for table, entries in lists:
        seen: dict[str, int] = {}
        for number, entry in enumerate(entries):
            if (first := seen.setdefault(entry.name.casefold(), number)) != number:
                line = toml.line_of((table, first, "name"))
                raise toml.error(
                    (table, number, "name"),
                    f'[[{table}]] name "{entry.name}" stands on line {line} already. Give each a name of its own.',
                )
    known = {machine.name.casefold() for machine in campaign.machines}
    for number, planned in enumerate(campaign.planned):
        if planned.machine.casefold() not in known:
            advice = closest(planned.machine, [machine.name for machine in campaign.machines] or ["none"])
            raise toml.error(
                ("planned", number, "machine"),
                f'[[planned]] machine "{planned.machine}" is none of [[machines]]. {advice}',
            )
    return campaign
