"""What the next run is, unless a person says otherwise: the next planned one, or as the last."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from ..inputs.faults import closest
from .campaign_file import Campaign, PlannedRun
from .records import FiledRun


@dataclass(frozen=True, slots=True, kw_only=True)
class RunChoice:
    """What a run is made with; ``why`` says where that comes from. ``machine`` is "" where nothing tells."""

    machine: str
    settings: Mapping[str, str]
    floor: str
    debris: tuple[str, ...]
    software: str = ""
    block: str = ""
    planned: int | None = None
    why: str = ""


def next_choice(
    campaign: Campaign,
    runs: Sequence[FiledRun],
    *,
    machine: str = "",
    settings: Mapping[str, str] | None = None,
    floor: str = "",
    debris: Sequence[str] = (),
) -> RunChoice:
    """Return what the next run is made with.

    Parameters
    ----------
    campaign : Campaign
        What its file says.
    runs : sequence of FiledRun
        Those there are, in order.
    machine, settings, floor, debris
        What a person has said; empty for the usual.

    Returns
    -------
    RunChoice
        The first planned run that is not filed yet and fits what was said; or else the machine that was said, with its
        usual settings; or else all as in the last run. What was said goes before all that.
    """
    said = dict(settings or {})
    planned = _planned(campaign, runs, machine, said, floor, debris)
    kept = [run.record for run in runs if run.record.withdrawn is None]
    common = campaign.campaign
    if planned is not None:
        number, plan = planned
        usual = _usual_settings(campaign, plan.machine)
        choice = RunChoice(
            machine=plan.machine,
            settings=usual | plan.settings,
            floor=plan.floor or common.floor,
            debris=plan.debris or common.debris,
            block=plan.block,
            planned=number,
            why=f"planned run {number}",
        )
    elif machine or not kept:
        named = machine or (campaign.machines[0].name if len(campaign.machines) == 1 else "")
        choice = RunChoice(
            machine=named,
            settings=_usual_settings(campaign, named),
            floor=common.floor,
            debris=common.debris,
            why="as the campaign's file has it",
        )
    else:
        last = kept[-1]
        choice = RunChoice(
            machine=last.machine,
            settings=dict(last.settings),
            floor=last.floor,
            debris=tuple(used.name for used in last.debris),
            why=f"as run {last.run}",
        )
    named = machine or choice.machine
    return RunChoice(
        machine=named,
        settings={**choice.settings, **said},
        floor=floor or choice.floor,
        debris=tuple(debris) or choice.debris,
        software=next((one.software for one in campaign.machines if _same(one.name, named)), ""),
        block=choice.block,
        planned=choice.planned,
        why=choice.why,
    )


def setting_doubts(campaign: Campaign, runs: Sequence[FiledRun], settings: Mapping[str, str]) -> tuple[str, ...]:
    """Sentences for settings whose name is new beside one that is nearly the same: a slip makes another factor."""
    known = {name for machine in campaign.machines for name in machine.settings}
    known |= {name for run in runs for name in run.record.settings}
    doubts = []
    for name in settings:
        advice = closest(name, known) if known and name not in known else ""
        if advice.startswith("Did you mean"):
            doubts.append(f'setting "{name}" is new in this campaign. {advice}')
    return tuple(doubts)


def _planned(
    campaign: Campaign,
    runs: Sequence[FiledRun],
    machine: str,
    settings: Mapping[str, str],
    floor: str,
    debris: Sequence[str],
) -> tuple[int, PlannedRun] | None:
    done = {run.record.planned for run in runs if run.record.withdrawn is None}
    for number, plan in enumerate(campaign.planned, start=1):
        usual = _usual_settings(campaign, plan.machine) | plan.settings
        fits = (
            (not machine or _same(plan.machine, machine))
            and all(usual.get(name) == value for name, value in settings.items())
            and (not floor or _same(plan.floor or campaign.campaign.floor, floor))
            and (not debris or set(plan.debris or campaign.campaign.debris) == set(debris))
        )
        if number not in done and fits:
            return number, plan
    return None


def _usual_settings(campaign: Campaign, machine: str) -> dict[str, str]:
    return next((dict(one.settings) for one in campaign.machines if _same(one.name, machine)), {})


def _same(one: str, other: str) -> bool:
    return one.casefold() == other.casefold()
