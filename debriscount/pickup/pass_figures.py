"""Figures of every pass, each with its interval."""

from collections.abc import Mapping, Sequence
from dataclasses import replace

from ..flags import listed
from ..inputs.debris import DebrisKind
from ..inputs.patch import Patch
from .detection import FalseGrains, zone_limits
from .records import Amount, BudgetLine, PassFigures, ZoneFigures
from .trust import TOO_WIDE, WIDEST, untold
from .uncertainty import Doubts, ShotGrains, pickup_uncertainty
from .zone_figures import possible, zone_figures
from .zones import amounts, less_background, with_unseen

#: Share of the floor on which a kind cannot be seen, from which on its pickup is not given, nor that of all kinds: what
#: a quarter of the floor shows is still a sample, and the interval says how good a one; less tells where the floor is
#: plain.
MOST_BLIND = 0.75


def pass_figures(
    patch: Patch,
    shots: Mapping[str, ShotGrains],
    kinds: Sequence[DebrisKind],
    mm_per_px: float,
    false: FalseGrains,
    doubts: Mapping[int | None, Doubts],
) -> tuple[tuple[PassFigures, ...], tuple[BudgetLine, ...]]:
    """Figures of every pass, all kinds together and each alone, and the budget of the last pass's pickup.

    Parameters
    ----------
    patch : Patch
        Its zones.
    shots : mapping of str to ShotGrains
        "before", "after", "after2", … and perhaps "blank", whose debris is the floor's own and is taken off.
    kinds : sequence of DebrisKind
        In the order of the grains' kinds.
    mm_per_px : float
        Raster of the floor view.
    false : FalseGrains
        What bare floor shows as debris: from the blank or, without one, from the mirror of the last shot.
    doubts : mapping of int to Doubts
        What the photos leave open, by index of the kind; under None, of all.

    Returns
    -------
    passes : tuple of PassFigures
    budget : tuple of BudgetLine
        The largest source first.
    """
    grains = {name: shot.grains for name, shot in shots.items()}
    choices: list[int | None] = [None, *range(len(kinds))]
    net: dict[int | None, dict[str, dict[str, Amount]]] = {}
    for only in choices:
        by_shot = {name: amounts(patch, table, kinds, only, mm_per_px) for name, table in grains.items()}
        bare = by_shot.pop("blank", None)
        if bare is not None:
            by_shot = {
                name: {zone: less_background(a, bare[zone]) for zone, a in zones.items()}
                for name, zones in by_shot.items()
            }
        unseen = doubts[only].unseen_share
        net[only] = {
            name: {zone: with_unseen(a, unseen) for zone, a in zones.items()} for name, zones in by_shot.items()
        }
    limits = {only: zone_limits(patch, false, only) for only in choices}
    passes = []
    budget: dict[str, float] = {}
    for number, name in enumerate([n for n in grains if n.startswith("after")], start=1):
        figures = {}
        for only in reversed(choices):
            seen = {n: shot if only is None else shot.of_kind(only) for n, shot in shots.items()}
            intervals, budget, with_patch = pickup_uncertainty(
                patch, seen["before"], seen[name], seen.get("blank"), mm_per_px, doubts[only]
            )
            plain = zone_figures(net[only]["before"], net[only][name], limits[only])
            spoilt = _unseen(kinds, doubts, only)
            if not spoilt and _too_wide(plain["patch"], intervals["patch"]):
                spoilt = TOO_WIDE
            figures[only] = possible({zone: _with_interval(f, intervals[zone], spoilt) for zone, f in plain.items()})
        by_kind = {kind.name: figures[k] for k, kind in enumerate(kinds)}
        passes.append(PassFigures(number, figures[None], by_kind, with_patch=with_patch))
    lines = [BudgetLine(source, u) for source, u in budget.items()]
    return tuple(passes), tuple(sorted(lines, key=lambda line: -line.u_percent))


def _unseen(kinds: Sequence[DebrisKind], doubts: Mapping[int | None, Doubts], only: int | None) -> str:
    """Why no pickup is given: which of the kinds in question cannot be seen on most of the floor; "" if none."""
    asked = range(len(kinds)) if only is None else [only]
    names = [kinds[k].name for k in asked if doubts[k].blind_share > MOST_BLIND]
    return f"{listed(names)} can hardly be told from the floor on most of it" if names else ""


def _too_wide(figures: ZoneFigures, interval: tuple[float, float] | None) -> bool:
    """Whether an interval is too wide for its figure to be given; where debris grew, in proportion to what is left."""
    left = max(figures.after.area_mm2 / max(figures.before.area_mm2, 1e-9), 1.0)
    return interval is not None and interval[1] - interval[0] > 2 * WIDEST * left


def _with_interval(figures: ZoneFigures, interval: tuple[float, float] | None, spoilt: str) -> ZoneFigures:
    """Figures with their interval, which must reach down to what is promised at least.

    A figure whose interval is so wide that it says next to nothing is not given, nor any where that of the whole patch
    is not, for the reason ``spoilt``: what spoils the whole spoils its parts.
    """
    if interval is not None and figures.more_than_percent is not None:
        interval = (min(interval[0], figures.more_than_percent), interval[1])
    if interval is not None and (spoilt or _too_wide(figures, interval)):
        return untold(figures, (spoilt or TOO_WIDE) if figures.pickup_percent is not None else "")
    return replace(figures, interval95=interval)
