"""The next run from a person's answers: what is usual, what is said, and one question before it is measured."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import typer

from debriscount.campaign.add_run import (
    new_run,
    shots_by_name,
    shots_of_inbox,
    waiting_weighing,
    with_shared_blank,
)
from debriscount.campaign.campaign_file import Campaign, read_campaign
from debriscount.campaign.file_run import NewRun, refuse_filed
from debriscount.campaign.inbox import InboxPhoto
from debriscount.campaign.next_run import RunChoice, next_choice, setting_doubts
from debriscount.campaign.places import DEBRIS, find_campaign
from debriscount.campaign.read_runs import read_runs
from debriscount.campaign.records import FiledRun, by_shot
from debriscount.errors import CampaignError, DebriscountError
from debriscount.inputs.debris_names import find_debris

from ._campaign_answers import read_one_name, read_settings
from ._interview import Interview
from ._terminal import said_aside


@dataclass(frozen=True, slots=True, kw_only=True)
class GatheredRun:
    """A run to be measured and filed, and the campaign it goes into."""

    home: Path
    campaign: Campaign
    runs: Sequence[FiledRun]
    photos: Mapping[str, InboxPhoto]
    new: NewRun


def gather_run(
    given_home: Path | None,
    *,
    machine: str,
    settings: Sequence[str],
    floor: str,
    debris: Sequence[str],
    blank: Path | None,
    before: Path | None,
    afters: Sequence[Path],
    weighing: Path | None,
    with_photos: bool,
    with_weighing: bool,
    note: str,
    silent: bool,
    quiet: bool,
) -> GatheredRun:
    """Find campaign, photos and weighing, say what is taken for what and why, and ask whether that is right.

    Raises
    ------
    DebriscountError
        Something is missing, or the campaign has those photos already.
    typer.Exit
        The run is not to be added.
    """
    home = find_campaign(given_home)
    campaign = read_campaign(home)
    read = read_runs(home)
    for one in read.unread:
        said_aside(f"runs/{one.folder}: left out. {one.reason}")
    if before is None and (afters or blank is not None):
        raise CampaignError("--before is missing. Give it beside --after, or give no photo to take those of the inbox.")
    if before is not None and not afters:
        raise CampaignError("--after is missing. Give the photo after each pass, once for each.")
    said = read_settings(",".join(settings))
    photos: dict[str, InboxPhoto] = {}
    lines: list[str] = []
    if before is not None:
        photos = shots_by_name(blank, before, afters)
    elif with_photos:
        chosen = shots_of_inbox(home, campaign, read.runs, None)
        photos = dict(chosen.photos)
        lines += [*chosen.passed_over, *chosen.reasons]
    photos = with_shared_blank(home, campaign, photos)
    refuse_filed(
        read.runs,
        {shot: photo.sha256 for shot, photo in photos.items()},
        {shot: photo.taken if photo.by_camera else None for shot, photo in photos.items()},
    )
    if weighing is None and with_weighing:
        weighing, remark = waiting_weighing(home, read.runs)
        lines += [remark] if remark else []
    files = [str(find_debris(name, home / DEBRIS)) if name.endswith(".toml") else name for name in debris]
    choice = next_choice(campaign, read.runs, machine=machine, settings=said, floor=floor, debris=files)
    lines += setting_doubts(campaign, read.runs, choice.settings)
    if not quiet:
        for line in lines:
            said_aside(line)
    if not silent:
        _check(home, campaign, choice, photos)
        choice = _asked(campaign, read.runs, choice, photos, weighing)
    elif choice.machine and not quiet:
        _say_new(campaign, choice)
    made = new_run(home, campaign, choice, photos, weighing, note)
    return GatheredRun(home=home, campaign=campaign, runs=read.runs, photos=photos, new=made)


def _say_new(campaign: Campaign, choice: RunChoice) -> None:
    from debriscount.inputs.faults import closest

    known = [one.name for one in campaign.machines]
    if known and choice.machine.casefold() not in {name.casefold() for name in known}:
        advice = closest(choice.machine, known)
        said_aside(f'machine "{choice.machine}" is new in this campaign. {advice}')


def _check(home: Path, campaign: Campaign, choice: RunChoice, photos: Mapping[str, InboxPhoto]) -> None:
    """Check the shots while they can be retaken; without questions, measuring itself tells what is wrong."""
    from debriscount.report.shot import verdict_word
    from debriscount.shot_check.files import shot_check

    files = [find_debris(name, home / DEBRIS) for name in choice.debris]
    lens = home / campaign.campaign.lens if campaign.campaign.lens else None
    check = shot_check(home / campaign.campaign.patch, files, lens=lens)
    for shot, those in by_shot(photos).items():
        try:
            # Of several photos that make a shot their folder is checked.
            fitness = check.check(those[0].path if len(those) == 1 else those[0].path.parent)
        except DebriscountError as error:
            said_aside(f"{shot}: {error}")
            continue
        advice = " ".join(fault.sentence for fault in fitness.faults)
        said_aside(f"{verdict_word(fitness)}: {shot}{': ' * bool(advice)}{advice}")


def _asked(
    campaign: Campaign,
    runs: Sequence[FiledRun],
    choice: RunChoice,
    photos: Mapping[str, InboxPhoto],
    weighing: Path | None,
) -> RunChoice:
    """Ask whether all is right; any other answer is a machine, a setting or a floor that is not."""
    interview = Interview(CampaignError, silent=False)
    if not choice.machine:
        choice = next_choice(
            campaign,
            runs,
            machine=interview.ask("Machine that ran, under a name of your own", "", read_one_name),
            settings=choice.settings,
            floor=choice.floor,
            debris=choice.debris,
        )
    while True:
        typer.echo(_choice_text(choice, photos, weighing))
        _say_new(campaign, choice)
        question = "Add this run? (yes, no; or what is otherwise: a machine, a floor, or brush=rubber)"
        answer = Interview(CampaignError, silent=False).ask(question, "yes", str.strip)
        word = answer.lower()
        if word in ("y", "yes"):
            return choice
        if word in ("n", "no", "-"):
            said_aside("nothing added")
            raise typer.Exit
        try:
            choice = _otherwise(campaign, runs, choice, answer)
        except DebriscountError as error:
            said_aside(str(error))


def _otherwise(campaign: Campaign, runs: Sequence[FiledRun], choice: RunChoice, answer: str) -> RunChoice:
    if "=" in answer:
        return replace(choice, settings={**choice.settings, **read_settings(answer)})
    named = read_one_name(answer)
    for floor in campaign.floors:
        if floor.name.casefold() == named.casefold():
            return replace(choice, floor=floor.name)
    machine = next((one.name for one in campaign.machines if one.name.casefold() == named.casefold()), named)
    return next_choice(campaign, runs, machine=machine, floor=choice.floor, debris=choice.debris)


def _named(photos: Sequence[InboxPhoto]) -> str:
    return photos[0].path.name if len(photos) == 1 else f"{len(photos)} photos of {photos[0].path.parent.name}"


def _choice_text(choice: RunChoice, photos: Mapping[str, InboxPhoto], weighing: Path | None) -> str:
    settings = ", ".join(f"{name} = {value}" for name, value in choice.settings.items())
    told = {
        "machine": choice.machine,
        "settings": settings or "none",
        "floor": choice.floor or "not told",
        "debris": ", ".join(choice.debris) or "by its colour alone",
        "photos": ", ".join(f"{shot} {_named(those)}" for shot, those in by_shot(photos).items()) or "none",
        "weighed": "no" if weighing is None else weighing.name,
    }
    return "\n".join([f"Next run, {choice.why}:", *(f"  {name:<9}{value}" for name, value in told.items())])
