"""Why debris stayed, pass by pass: the stage as a whole."""

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from ..arrays import Floats, Mask
from ..cover.kinds import KindHint
from ..inputs.patch import Patch
from .findings import findings
from .lanes.find import find_lanes
from .losses import moved_from_losses
from .passes import Pickup, brought, further_pass, of_found, pass_step
from .reach.find import Pickups, find_reach
from .reach.missed import find_missed
from .reach.sites import gather_sites
from .reach.survival import Survival, learn_survival
from .records import Explained, Fates, PassStep, Reach, WhyLeft
from .scatter import find_scatter
from .shares import leftovers_of, why_split
from .trace import TracedShot, trace
from .walls.find import find_walls
from .walls.pickup import pickup_along_walls

#: Chance from which a grain is taken to lie where the blank shows one as well: it is the floor's own.
FLOORS_OWN = 0.5


def why_left(
    patch: Patch,
    shots: Mapping[str, TracedShot],
    kinds: Mapping[str, KindHint],
    pickups: Sequence[Mapping[str, Pickup]],
    *,
    mm_per_px: float,
    apart_mm: Mapping[str, float],
) -> Explained:
    """Explain the leftovers of every pass.

    Parameters
    ----------
    patch : Patch
        Its zones and walls.
    shots : mapping of str to TracedShot
        "before", "after", "after2", … and perhaps "blank": what lies there lay before the debris came, and is left out.
    kinds : mapping of str to KindHint
        By name, in the order of the grains' kinds.
    pickups : sequence of mapping of str to Pickup
        Of every pass, by zone, against *before*.
    mm_per_px : float
        Of the raster on which all shots lie.
    apart_mm : mapping of str to float
        How far each shot may lie from the others, standard deviation of a coordinate.

    Returns
    -------
    Explained
    """

    def traced(first: str, second: str) -> Fates:
        apart = float(np.hypot(apart_mm[first], apart_mm[second]))
        return trace(shots[first], shots[second], list(kinds.values()), mm_per_px, apart)

    names = ["before", *(name for name in shots if name.startswith("after"))]
    real = {name: ~_floors_own(traced("blank", name)) for name in names} if "blank" in shots else {}
    passes: list[WhyLeft] = []
    steps: list[PassStep] = []
    for number, name in enumerate(names[1:], start=1):
        whole = traced("before", name)
        untouched = np.where(real[name], whole.untouched, np.nan) if real else whole.untouched
        begun = names[number - 1]
        own = whole if number == 1 else traced(begun, name)
        if real:
            whole, own = whole.only(real["before"], real[name]), own.only(real[begun], real[name])
        zones, earlier = pickups[number - 1], None if number == 1 else pickups[number - 2]
        last = passes[-1].reach if passes else None
        survival, reach = learn_survival(gather_sites(own, patch), patch), None
        if survival is not None:
            reach = find_reach(survival, own, patch, _of_found(zones, earlier), None if last is None else last.grid)
        step = pass_step(
            number, zones["patch"], None if earlier is None else earlier["patch"], reach, last, own.earlier, own.stayed
        )
        if passes:
            step = replace(step, brought=brought(own.earlier, own.stayed, patch, passes[-1].missed))
        way = np.full((len(untouched), 2), np.nan)
        moved = moved_from_losses(own, patch)
        entries = np.flatnonzero(real[name]) if real else np.arange(len(untouched))
        way[entries[moved.grains]] = moved.way_mm
        passes.append(_explained(patch, list(kinds), whole, own, survival, reach, step, untouched, way))
        steps.append(step)
    return Explained(tuple(passes), tuple(steps), further_pass([zones["patch"] for zones in pickups]))


def _explained(
    patch: Patch,
    kind_names: Sequence[str],
    whole: Fates,
    own: Fates,
    survival: Survival | None,
    reach: Reach | None,
    step: PassStep,
    untouched: Floats,
    way_mm: Floats,
) -> WhyLeft:
    leftovers, said = leftovers_of(whole, patch, kind_names), None if survival is None else survival.of_grains(own)
    lanes = None if said is None else find_lanes(said, own, patch)
    missed = () if survival is None or reach is None else find_missed(survival, own, patch, reach, lanes)
    walls = replace(find_walls(said, own, patch), pickup=pickup_along_walls(own, patch, lanes))
    scatter = find_scatter(own, patch)
    sentences = findings(leftovers, reach, lanes, missed, walls, scatter, step)
    return WhyLeft(
        leftovers=leftovers,
        split=why_split(own, patch, reach),
        reach=reach,
        lanes=lanes,
        missed=missed,
        walls=walls,
        scatter=scatter,
        findings=sentences,
        untouched=untouched,
        way_mm=way_mm,
    )


def _floors_own(fates: Fates) -> Mask:
    """Which grains of the later shot the blank shows as well."""
    return np.asarray(fates.untouched >= FLOORS_OWN)


def _of_found(zones: Mapping[str, Pickup], earlier: Mapping[str, Pickup] | None) -> Pickups:
    """Pickup of each zone of what the pass found there."""
    return {zone: of_found(pickup, None if earlier is None else earlier[zone]) for zone, pickup in zones.items()}
