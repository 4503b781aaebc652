"""Which figure of which runs is looked at, and in which groups."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from ..errors import CompareError
from ..flags import listed
from ..printable import printable
from .figures import (
    ALL_KINDS,
    RUN_FIGURES,
    WHOLE_PATCH,
    ZONE_FIGURES,
    FigureKind,
    RunFigure,
    figure_kind,
    one_figure,
    side_name,
    zone_order,
)
from .labels import CampaignRun, check_keys

#: Why a run is left out of the figures.
WITHDRAWN, NO_FIGURE, NOT_MEASURABLE, DOUBTFUL = "withdrawn", "no such figure", "not measurable", "doubtful"
_MOST_SAID = 12


@dataclass(frozen=True, slots=True, kw_only=True)
class Choice:
    """What is looked at.

    ``zones`` are taken together, weighed by their debris; None is the whole patch or, in groups by zone, each zone.
    ``number`` is the pass, the last one if None. Withdrawn runs stay out; doubtful ones only where
    ``without_doubtful`` says so, and the runs that ``without`` names.
    """

    figure: str = "pickup"
    zones: tuple[str, ...] | None = None
    kind: str | None = None
    number: int | None = None
    without_doubtful: bool = False
    without: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Item:
    """A figure of a run."""

    run: CampaignRun
    figure: RunFigure

    @property
    def doubtful(self) -> bool:
        """Whether the figure is one to be careful with."""
        return self.figure.trust == DOUBTFUL


@dataclass(frozen=True, slots=True, kw_only=True)
class Selected:
    """Figures in groups: ``groups`` by the levels of ``keys``, in their order.

    ``left_out`` holds why runs are in none, by name.
    """

    kind: FigureKind
    keys: tuple[str, ...]
    groups: Mapping[tuple[str, ...], tuple[Item, ...]]
    left_out: Mapping[str, str] = field(default_factory=dict)


def select(runs: Sequence[CampaignRun], keys: Sequence[str], choice: Choice) -> Selected:
    """Pick a figure out of runs and group it.

    Parameters
    ----------
    runs : sequence of CampaignRun
        Of one campaign or several.
    keys : sequence of str
        What the groups are by; none for all runs together.
    choice : Choice
        The figure, and of what.

    Returns
    -------
    Selected
        Groups in the order of their levels, numbers by size.

    Raises
    ------
    CompareError
        A key, figure, zone, kind or run is unknown, or no run has the figure.
    """
    keys = check_keys(keys, runs)
    name = _figure_name(runs, choice.figure)
    of_zone = name in ZONE_FIGURES
    if choice.zones is not None and len(choice.zones) > 1:
        _check_together(choice.zones)
    unknown = set(choice.without) - {run.name for run in runs}
    if unknown:
        raise CompareError(
            f"there is no run {printable(min(unknown), 60)} to leave out. Give names as summary shows them."
        )
    left_out: dict[str, str] = {}
    grouped: dict[tuple[str, ...], list[Item]] = {}
    for run in runs:
        reason = _out_as_a_whole(run, choice)
        if reason:
            left_out[run.name] = reason
            continue
        items = [Item(run, figure) for figure in _figures(run, name, keys, choice)]
        known = [item for item in items if item.figure.known]
        kept = [item for item in known if not (choice.without_doubtful and item.doubtful)]
        if not kept:
            left_out[run.name] = DOUBTFUL if known else NOT_MEASURABLE if items else NO_FIGURE
        for item in kept:
            levels = tuple(_level(item, key, of_zone) for key in keys)
            grouped.setdefault(levels, []).append(item)
    if not grouped:
        raise CompareError(_nothing(name, choice, runs, left_out))
    _check_units(name, [item for items in grouped.values() for item in items])
    order = sorted(grouped, key=lambda levels: tuple(map(_in_order, levels)))
    first = next(iter(grouped.values()))
    return Selected(
        kind=figure_kind(name, [item.figure for item in first]),
        keys=keys,
        groups={levels: tuple(grouped[levels]) for levels in order},
        left_out=left_out,
    )


def _check_units(name: str, items: Sequence[Item]) -> None:
    """Refuse figures in several units, such as levels that were weighted by several curves."""
    runs: dict[str, list[str]] = {}
    for item in items:
        runs.setdefault(item.figure.unit, []).append(item.run.name)
    if len(runs) > 1:
        usual = max(runs, key=lambda unit: len(runs[unit]))
        others = [f"{run} ({unit})" for unit, names in runs.items() if unit != usual for run in names]
        raise CompareError(
            f"{name} is in {usual} in most runs, and cannot be taken together with that of run"
            f" {listed(others[:_MOST_SAID])}{' and others' if len(others) > _MOST_SAID else ''}. Leave them out with"
            " --without."
        )


def _out_as_a_whole(run: CampaignRun, choice: Choice) -> str:
    withdrawn = run.run.record.withdrawn
    if withdrawn is not None:
        return f"{WITHDRAWN}: {printable(withdrawn.why)}" if withdrawn.why else WITHDRAWN
    return "left out as asked" if run.name in choice.without else ""


def _figure_name(runs: Sequence[CampaignRun], name: str) -> str:
    """The figure asked for; pickup is that by scale where no run has been photographed."""
    side = {side_name(side) for run in runs for side in run.run.record.side}
    known = [*ZONE_FIGURES, *RUN_FIGURES, *sorted(side)]
    if name not in known:
        raise CompareError(f'there is no figure "{printable(name, 60)}". Give one of: {", ".join(known)}.')
    if name == "pickup" and not any(run.run.figures.passes for run in runs):
        return "scale-pickup"
    return name


def _check_together(zones: Sequence[str]) -> None:
    for zone in (WHOLE_PATCH, "margin"):
        if zone in zones:
            raise CompareError(
                f"{zone} cannot be taken together with other zones: "
                + ("it holds them all." if zone == WHOLE_PATCH else "no debris is strewn there.")
                + " Leave it out."
            )


def _figures(run: CampaignRun, name: str, keys: tuple[str, ...], choice: Choice) -> list[RunFigure]:
    """The run's figures, several where groups are by zone, kind or pass."""
    passes = run.run.figures.passes
    if name not in ZONE_FIGURES or not passes:
        found = one_figure(run.run, name, number=choice.number)
        return [] if found is None else [found]
    numbers = [done.number for done in passes] if "pass" in keys and choice.number is None else [choice.number]
    figures = []
    for number in numbers:
        done = passes[-1] if number is None else next((one for one in passes if one.number == number), None)
        if done is None:
            continue
        kinds = [choice.kind or ALL_KINDS]
        if "kind" in keys and choice.kind is None:
            kinds = list(done.kinds) or [ALL_KINDS]
        for kind in kinds:
            of_kind = done.zones if kind == ALL_KINDS else done.kinds.get(kind, {})
            together = [choice.zones or (WHOLE_PATCH,)]
            if "zone" in keys:
                together = [(zone,) for zone in zone_order(choice.zones or list(of_kind))]
            of_kinds = (one_figure(run.run, name, zones, kind, done.number) for zones in together)
            figures += [figure for figure in of_kinds if figure is not None]
    return figures


def _level(item: Item, key: str, of_zone: bool) -> str:
    figure = item.figure
    if key == "zone":
        return figure.zone if of_zone else WHOLE_PATCH
    if key == "kind":
        return figure.kind if of_zone else ALL_KINDS
    if key == "pass":
        return str(figure.number or 1)
    return item.run.label(key)


def _in_order(level: str) -> tuple[int, float, str]:
    """Numbers by size, then zones in their order, then words."""
    try:
        return 0, float(level), level
    except ValueError:
        order = zone_order([level, WHOLE_PATCH, "open", "edge", "corner", "margin"])
        own = level in (WHOLE_PATCH, "open", "edge", "corner", "margin")
        return 1, float(order.index(level)) if own else 0.0, level


def _nothing(name: str, choice: Choice, runs: Sequence[CampaignRun], left_out: Mapping[str, str]) -> str:
    if not runs:
        return "there are no runs yet. File one with debriscount run add."
    what = f"{name} of {'+'.join(choice.zones)}" if choice.zones else name
    what += f" of {choice.kind}" if choice.kind else ""
    reasons = {reason.split(":")[0] for reason in left_out.values()}
    return f"none of the {len(runs)} runs has {printable(what, 80)} to give ({', '.join(sorted(reasons))})."
