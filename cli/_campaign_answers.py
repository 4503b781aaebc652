"""A campaign from a person's answers: given on the command line, or when asked."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path

from debriscount.campaign.campaign_file import Campaign, CampaignScale, Common, DebrisBatch, Floor, Machine
from debriscount.campaign.places import BLANKS
from debriscount.errors import CampaignError, DebriscountError
from debriscount.inputs.debris_file import read_debris
from debriscount.inputs.debris_names import debris_slug, find_debris
from debriscount.inputs.names import name_fault
from debriscount.inputs.patch_file import read_patch
from debriscount.inputs.weighing import MOST_G

from ._interview import Answer, Ask

_NONE = "none"


@dataclass(frozen=True, slots=True, kw_only=True)
class NewCampaign:
    """A campaign, and the files that are copied into its folder."""

    campaign: Campaign
    patch: Path
    debris: tuple[Path, ...]
    blank: Path | None


def gather_campaign(folder: Path, given: Mapping[str, str | None], lens: Path | None, ask: Ask) -> NewCampaign:
    """Read what is given, and ask for the rest.

    Parameters
    ----------
    folder : Path
        Where the campaign is to be.
    given : mapping of str to str or None
        Words for name, patch, debris, floor, machine, setting, passes, blank and scale; None where they are to be
        asked for.
    lens : Path or None
        Lens file.
    ask : callable
        Takes question, usual answer and what reads an answer.

    Raises
    ------
    CampaignError, InputFileError
        Something given cannot be read.
    """

    def answer(key: str, question: str, usual: str, read: Callable[[str], Answer]) -> Answer:
        word = given.get(key)
        return ask(question, usual, read) if word is None else read(word)

    name = answer("name", "Name of the campaign", folder.resolve().name or "campaign", read_one_name)
    patch = answer("patch", "Patch file", _usual_patch(folder), read_patch_path)
    files = answer("debris", "Kinds of debris that are strewn (names apart by commas), or none", _NONE, read_kinds)
    floors = answer("floor", "Floors (names apart by commas, the usual first), or none", _NONE, read_names)
    machines = answer("machine", "Machines, under names of your own (apart by commas), or none", _NONE, read_names)
    settings: dict[str, dict[str, str]] = {}
    for machine in machines:
        question = f'Usual settings of {machine}, such as "brush=rubber, suction=3", or none'
        settings[machine] = answer("setting", question, _NONE, read_settings)
    passes = answer("passes", "Passes in every run, with a photo after each", "1", read_passes)
    blank = answer("blank", "Photo of the clean floor that all runs share, or none", _NONE, read_photo)
    step = answer("scale", "Smallest step of the scale's display, g, or none", _NONE, read_step)
    return NewCampaign(
        campaign=Campaign(
            campaign=Common(
                name=name,
                patch="patch.toml",
                debris=tuple(debris_slug(file.stem) for file in files),
                floor=floors[0] if floors else "",
                blank=f"{BLANKS}/shared{blank.suffix.lower()}" if blank is not None else "",
                lens="lens.toml" if lens is not None else "",
                passes=passes,
            ),
            debris=tuple(DebrisBatch(name=debris_slug(file.stem)) for file in files),
            floors=tuple(Floor(name=floor) for floor in floors),
            machines=tuple(Machine(name=machine, settings=settings[machine]) for machine in machines),
            scale=None if step is None else CampaignScale(readability_g=step),
        ),
        patch=patch,
        debris=files,
        blank=blank,
    )


def _usual_patch(folder: Path) -> str:
    """The patch file of the folder itself, or that of the present one."""
    own = folder / "patch.toml"
    return str(own if own.is_file() else "patch.toml")


def read_one_name(text: str) -> str:
    """Return one name, without blanks around it."""
    if fault := name_fault(text.strip()):
        raise CampaignError(f"a name {fault}.")
    return text.strip()


def read_names(text: str) -> tuple[str, ...]:
    """Return names from "A, B"; none from "none"."""
    words = [word.strip() for word in text.split(",") if word.strip()]
    if [word.lower() for word in words] in ([_NONE], []):
        return ()
    if len({word.casefold() for word in words}) < len(words):
        raise CampaignError(f'"{text}" holds a name twice. Give each a name of its own.')
    return tuple(read_one_name(word) for word in words)


def read_kinds(text: str) -> tuple[Path, ...]:
    """Return the debris files of names or paths from "red-lentils, rice", each read once to see that it can be."""
    files = tuple(find_debris(word) for word in read_names(text))
    for file in files:
        read_debris(file)
    return files


def read_settings(text: str) -> dict[str, str]:
    """Return settings from "brush=rubber, suction=3"; none from "none"."""
    settings = {}
    for part in text.split(","):
        if not part.strip() or part.strip().lower() == _NONE:
            continue
        key, sign, value = (piece.strip() for piece in part.partition("="))
        if not sign or not key or not value:
            raise CampaignError(f'a setting must be written "brush=rubber" (key and value), got "{part.strip()}".')
        settings[read_one_name(key)] = read_one_name(value)
    return settings


def read_passes(text: str) -> int:
    """Return how many passes a run has."""
    if not text.strip().isdecimal() or not 1 <= int(text) <= 100:
        raise CampaignError(f'passes must be a whole number from 1 to 100, got "{text}".')
    return int(text)


def read_patch_path(text: str) -> Path:
    """Return the path of a patch file that can be read."""
    path = Path(text.strip())
    try:
        read_patch(path)
    except DebriscountError as error:
        raise CampaignError(f"{error} debriscount patch new makes a patch file.") from None
    return path


def read_photo(text: str) -> Path | None:
    """Return the path of a photo; None from "none"."""
    if text.strip().lower() == _NONE:
        return None
    from debriscount.campaign.inbox import inbox_photo

    return inbox_photo(Path(text.strip())).path


def read_step(text: str) -> float | None:
    """Return the smallest step of a scale, grams; None from "none"."""
    if text.strip().lower() == _NONE:
        return None
    try:
        step = float(text.strip().replace(",", ".", 1))
    except ValueError:
        step = 0.0
    if not 0 < step <= MOST_G:
        raise CampaignError(f'the step of a scale must be more than 0 grams, got "{text}".')
    return step
