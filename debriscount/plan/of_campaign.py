"""What a campaign says of runs that are to be planned: patch, debris, levels, and where plans go."""

from collections.abc import Callable, Sequence
from pathlib import Path

from ..campaign.campaign_file import Campaign, PlannedRun
from ..campaign.places import DEBRIS
from ..compare.labels import SETTING, UNSAID, CampaignRun, check_keys
from ..errors import CompareError
from ..inputs.debris import DebrisKind
from ..inputs.debris_file import read_debris
from ..inputs.debris_names import find_debris
from ..inputs.patch import Patch
from ..inputs.patch_file import read_patch
from ..simulate.expect import Expectation, expect
from ..simulate.spec import Floor, Portion, SceneSpec
from .portion import PortionPlan, plan_portion
from .runs import RunsPlan


def campaign_debris(home: Path, campaign: Campaign) -> tuple[Patch, list[DebrisKind]]:
    """Return a campaign's patch and its usual kinds of debris.

    Raises
    ------
    InputFileError
        A file is missing or has a fault.
    """
    kinds = [read_debris(find_debris(name, home / DEBRIS)) for name in campaign.campaign.debris]
    return read_patch(home / campaign.campaign.patch), kinds


def portions_of(
    patch: Patch, kinds: Sequence[DebrisKind], load_g_per_m2: float | None, limit_percent: float
) -> tuple[list[PortionPlan], list[str]]:
    """Return a portion of each kind, and the names of those of which none can be told.

    Several kinds share load and limit in equal parts.
    """
    planned, unknown = [], []
    for kind in kinds:
        load = None if load_g_per_m2 is None else load_g_per_m2 / len(kinds)
        portion = plan_portion(kind, patch.width_mm * patch.height_mm, load, limit_percent / len(kinds))
        if portion is None:
            unknown.append(kind.name)
        else:
            planned.append(portion)
    return planned, unknown


def levels_of(campaign: Campaign, factor: str, runs: Sequence[CampaignRun]) -> list[str]:
    """Return the levels of a factor that a campaign knows: its machines or floors, else those of earlier runs.

    Raises
    ------
    CompareError
        No run has such a thing.
    """
    if factor == "machine" and campaign.machines:
        return [machine.name for machine in campaign.machines]
    if factor == "floor" and campaign.floors:
        return [floor.name for floor in campaign.floors]
    usual = {
        machine.settings[factor.removeprefix(SETTING)]
        for machine in campaign.machines
        if factor.startswith(SETTING) and factor.removeprefix(SETTING) in machine.settings
    }
    if not usual:
        check_keys([factor], runs, extra=())
    known = usual | {run.label(factor) for run in runs}
    return sorted(known - {UNSAID})


def planned_runs(plan: RunsPlan, campaign: Campaign, machine: str | None) -> list[PlannedRun]:
    """Return a plan as a campaign's file holds it.

    Raises
    ------
    CompareError
        What is compared cannot be planned there, or it is not said which machine runs.
    CampaignError
        A machine is none of the campaign's.
    """
    if plan.factor not in ("machine", "floor") and not plan.factor.startswith(SETTING):
        raise CompareError(
            f"runs that differ in {plan.factor} cannot be put into the campaign's file. Leave out --keep."
        )
    if plan.factor == "machine":
        names = {level: campaign.machine(level).name for level in plan.levels}
    else:
        if machine is None and len(campaign.machines) != 1:
            raise CompareError("say with --machine which machine runs.")
        name = campaign.machine(machine).name if machine is not None else campaign.machines[0].name
        names = dict.fromkeys(plan.levels, name)
    setting = plan.factor.removeprefix(SETTING) if plan.factor.startswith(SETTING) else None
    return [
        PlannedRun(
            machine=names[test.level],
            settings={} if setting is None else {setting: test.level},
            floor=test.level if plan.factor == "floor" else "",
            block="" if plan.order == "none" else str(test.block),
        )
        for test in plan.tests
    ]


def expected_of(
    patch: Patch,
    kinds: Sequence[DebrisKind],
    portions: Sequence[PortionPlan],
    floor_kind: str,
    runs: int,
    progress: Callable[[float, str], None] | None = None,
) -> Expectation:
    """Make and measure made-up runs with a campaign's patch and portions.

    Raises
    ------
    SceneError
        The floor is unknown, or the set-up cannot be.
    """
    grams = {portion.kind: portion.grams for portion in portions}
    strewn = [
        Portion(kind, grams=grams[kind.name]) if kind.name in grams else Portion(kind, cover_share=0.04 / len(kinds))
        for kind in kinds
    ]
    return expect(SceneSpec(patch=patch, portions=tuple(strewn), floor=Floor(floor_kind)), runs, progress)
