"""Figures of runs, one by one: of a zone, kind and pass, or of the run as a whole."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from ..campaign.records import FiledFigure, FiledPass, FiledRun, SideMeasurement
from ..errors import DebriscountError
from ..inputs.patch import ZONES
from ..stats.quantity import Z95

#: All debris together, and the whole patch: as records name them.
ALL_KINDS, WHOLE_PATCH = "all", "patch"
#: No pickup lies above it.
CEILING_PERCENT = 100.0


@dataclass(frozen=True, slots=True)
class FigureKind:
    """A figure that runs can have: its unit for people, and whether it is a pickup, which ends at 100 %."""

    name: str
    unit: str
    pickup: bool = False


#: Of a zone.
ZONE_FIGURES: Mapping[str, FigureKind] = {
    kind.name: kind
    for kind in (
        FigureKind("pickup", "%", pickup=True),
        FigureKind("gone", "%", pickup=True),
        FigureKind("before-area", "mm²"),
        FigureKind("left-area", "mm²"),
        FigureKind("before-mass", "g"),
        FigureKind("left-mass", "g"),
    )
}
#: Of a run: pickup by scale, where what was weighed, and how much of what was left had not been moved.
RUN_FIGURES: Mapping[str, FigureKind] = {
    kind.name: kind
    for kind in (
        FigureKind("scale-pickup", "%", pickup=True),
        FigureKind("scale-unaccounted", "%"),
        FigureKind("untouched", "%"),
    )
}
_WEIGHED = {"scale-pickup": "pickup", "scale-unaccounted": "unaccounted"}
_VALUE: Mapping[str, Callable[[FiledFigure], float | None]] = {
    "pickup": lambda figure: figure.pickup_percent,
    "gone": lambda figure: figure.gone_percent,
    "before-area": lambda figure: figure.before_mm2,
    "left-area": lambda figure: figure.after_mm2,
    "before-mass": lambda figure: figure.before_g,
    "left-mass": lambda figure: figure.after_g,
}


@dataclass(frozen=True, slots=True, kw_only=True)
class RunFigure:
    """A figure of a run, in its unit; what is not known is None.

    ``zone``, ``kind`` and ``number`` (of the pass) are empty and None for figures of the run as a whole. ``at_least``
    is what is promised where next to nothing is left: the truth lies between it and 100 %. ``u`` is the standard
    uncertainty of the measurement, ``interval95`` what holds the truth.
    """

    figure: str
    unit: str
    value: float | None
    zone: str = ""
    kind: str = ""
    number: int | None = None
    at_least: float | None = None
    interval95: tuple[float, float] | None = None
    u: float | None = None
    trust: str = ""
    why: str = ""

    @property
    def known(self) -> bool:
        """Whether it says anything."""
        return self.value is not None or self.at_least is not None

    @property
    def range(self) -> tuple[float, float]:
        """Between what the figure lies as far as it was told: both ends the same, but for "more than".

        Raises
        ------
        ValueError
            It is not known.
        """
        if self.at_least is not None:
            return self.at_least, CEILING_PERCENT
        if self.value is None:
            raise ValueError("a figure that is not known lies nowhere")
        return self.value, self.value


def all_figures(run: FiledRun) -> Iterator[RunFigure]:
    """Return every figure of a run, pass by pass, kind by kind and zone by zone, then those of the run as a whole."""
    for done in run.figures.passes:
        for kind, zones in [(ALL_KINDS, done.zones), *done.kinds.items()]:
            for zone, figure in zones.items():
                for name in ZONE_FIGURES:
                    yield _of_zone(name, figure, zone, kind, done.number)
        if done.untouched_percent is not None:
            yield RunFigure(figure="untouched", unit="%", value=done.untouched_percent, number=done.number)
    for name, key in _WEIGHED.items():
        if key in run.figures.weighed:
            yield _weighed(name, run)
    yield from side_figures(run)


def one_figure(
    run: FiledRun, name: str, zones: Sequence[str] = (WHOLE_PATCH,), kind: str = ALL_KINDS, number: int | None = None
) -> RunFigure | None:
    """Return one figure of a run.

    Parameters
    ----------
    run : FiledRun
        The run.
    name : str
        Of the figure.
    zones : sequence of str
        Zones that are taken together; for figures of zones.
    kind : str
        Name of the kind of debris.
    number : int, optional
        The pass; the last if not given.

    Returns
    -------
    RunFigure or None
        None where the run has no such figure at all.
    """
    if name in _WEIGHED:
        return _weighed(name, run) if _WEIGHED[name] in run.figures.weighed else None
    if name not in ZONE_FIGURES and name != "untouched":
        return next((figure for figure in side_figures(run) if figure.figure == name), None)
    done = _pass(run.figures.passes, number)
    if done is None:
        return None
    if name == "untouched":
        return RunFigure(figure=name, unit="%", value=done.untouched_percent, number=done.number)
    found = done.zones if kind == ALL_KINDS else done.kinds.get(kind, {})
    if any(zone not in found for zone in zones):
        return None
    figures = [_of_zone(name, found[zone], zone, kind, done.number) for zone in zones]
    return figures[0] if len(figures) == 1 else _together(figures, [found[zone] for zone in zones])


def side_name(side: SideMeasurement) -> str:
    """Name of a figure beside the photos; one taken at a setting or place of its own is "sound-level at high"."""
    return f"{side.quantity} at {side.at}" if side.at else side.quantity


def side_figures(run: FiledRun) -> Iterator[RunFigure]:
    """Return what was measured beside the photos, converted to the unit that it is shown in."""
    if not run.record.side:
        return
    from ..campaign.side import side_figure

    for side in run.record.side:
        name = side_name(side)
        try:
            shown = side_figure(side)
        except DebriscountError as error:  # a file that was changed by hand
            yield RunFigure(figure=name, unit=side.unit, value=None, why=str(error))
        else:
            yield RunFigure(figure=name, unit=shown.unit, value=shown.value, u=shown.u)


def _pass(passes: Sequence[FiledPass], number: int | None) -> FiledPass | None:
    if number is None:
        return passes[-1] if passes else None
    return next((done for done in passes if done.number == number), None)


def _of_zone(name: str, figure: FiledFigure, zone: str, kind: str, number: int) -> RunFigure:
    value, about = _VALUE[name](figure), ZONE_FIGURES[name]
    if not about.pickup:
        return RunFigure(figure=name, unit=about.unit, value=value, zone=zone, kind=kind, number=number)
    # The interval is that of the pickup, which for a zone is what it lost; the patch's loss has none of its own.
    own = name == "pickup" or zone != WHOLE_PATCH
    interval = figure.interval95 if own else None
    return RunFigure(
        figure=name,
        unit=about.unit,
        value=None if value is None else min(value, CEILING_PERCENT),
        zone=zone,
        kind=kind,
        number=number,
        at_least=figure.more_than_percent if own else None,
        interval95=interval,
        u=None if interval is None else (interval[1] - interval[0]) / (2 * Z95),
        trust=figure.trust,
        why=figure.why,
    )


def _weighed(name: str, run: FiledRun) -> RunFigure:
    found = run.figures.weighed[_WEIGHED[name]]
    low, high = found.interval95
    # No share of what was strewn can be more than all of it, however rough the scale.
    within = (min(low, CEILING_PERCENT), min(high, CEILING_PERCENT))
    return RunFigure(figure=name, unit="%", value=found.percent, interval95=within, u=found.u_percent, trust="sound")


def _together(figures: Sequence[RunFigure], zones: Sequence[FiledFigure]) -> RunFigure:
    """Take zones together: amounts are summed, percentages are of the debris that lay in all of them.

    A zone weighs by the mass that lay in it before, where that is known of all, else by the area. What makes the zones'
    figures uncertain is mostly common to them, light and colours: their uncertainties add up.
    """
    first = figures[0]
    zone, number = "+".join(figure.zone for figure in figures), first.number
    if not ZONE_FIGURES[first.figure].pickup:
        values = [figure.value for figure in figures]
        known = [value for value in values if value is not None]
        total = sum(known) if len(known) == len(values) else None
        return RunFigure(figure=first.figure, unit=first.unit, value=total, zone=zone, kind=first.kind, number=number)
    masses = [figure.before_g for figure in zones]
    weights = [m for m in masses if m is not None]
    if len(weights) < len(masses):
        weights = [figure.before_mm2 for figure in zones]
    share = [weight / sum(weights) if sum(weights) > 0 else 0.0 for weight in weights]
    # A zone in which nothing lay has no share, and need not be known.
    counted = [(s, figure) for s, figure in zip(share, figures, strict=True) if s > 0]
    known_all = bool(counted) and all(figure.known for _, figure in counted)
    u = [s * figure.u for s, figure in counted if figure.u is not None]
    worst = max(counted, key=lambda one: _TRUST.index(one[1].trust) if one[1].trust in _TRUST else 0, default=None)
    ceiling = any(figure.at_least is not None for _, figure in counted)
    value = None
    if known_all:
        value = sum(s * (figure.range[0] if figure.value is None else figure.value) for s, figure in counted)
    half = Z95 * sum(u) if value is not None and len(u) == len(counted) else None
    return RunFigure(
        figure=first.figure,
        unit=first.unit,
        value=value,
        zone=zone,
        kind=first.kind,
        number=number,
        at_least=sum(s * figure.range[0] for s, figure in counted) if known_all and ceiling else None,
        interval95=None if value is None or half is None else (value - half, min(value + half, CEILING_PERCENT)),
        u=None if half is None else half / Z95,
        trust="" if worst is None else worst[1].trust,
        why="" if worst is None else worst[1].why,
    )


#: From the best on.
_TRUST = ("sound", "doubtful", "not measurable")


def figure_kind(name: str, figures: Sequence[RunFigure] = ()) -> FigureKind:
    """Return what a figure is; one that was measured beside the photos tells its unit itself."""
    known = ZONE_FIGURES.get(name) or RUN_FIGURES.get(name)
    return known or FigureKind(name, figures[0].unit if figures else "")


def zone_order(names: Sequence[str]) -> list[str]:
    """Zones as they are reported: the patch, its own, then the tester's."""
    order = [WHOLE_PATCH, *ZONES]
    return sorted(names, key=lambda name: (order.index(name) if name in order else len(order), name))
