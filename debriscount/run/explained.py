"""Hands what was measured to the stage that says why debris stayed, and keeps of its answers what figures can carry."""

from collections.abc import Mapping, Sequence
from dataclasses import replace

from ..cover.kinds import KindHint
from ..cover.maps import CoverMaps
from ..grains.find import FoundGrains
from ..grains.table import GrainTable
from ..inputs.debris import DebrisKind
from ..inputs.patch import Patch
from ..leftovers.overlap import SeenGrains
from ..leftovers.passes import Pickup
from ..leftovers.records import Explained, Explanation, LeftShares, WhyLeft
from ..leftovers.trace import TracedShot
from ..leftovers.why import why_left
from ..pickup.records import PassFigures, ZoneFigures
from ..registration.register import RegisteredShots

#: Grains left below which no share of them is said: the 95 % interval of a half is then wider than a half.
FEW_LEFT = 10
#: What is said of a pass whatever it left.
WITHOUT_LEFTOVERS = ("nothing left", "flung")


def explained(
    patch: Patch,
    registered: RegisteredShots,
    maps: CoverMaps,
    found: Mapping[str, FoundGrains],
    grains: Mapping[str, GrainTable],
    kinds: Sequence[DebrisKind],
    hints: Sequence[KindHint],
    passes: Sequence[PassFigures],
) -> Explained:
    """Say of every pass why debris stayed.

    Parameters
    ----------
    patch : Patch
        Its zones and walls.
    registered, maps, found, grains
        What the stages before made of the shots, the latter two by shot name.
    kinds, hints : sequence
        The kinds of debris, in the order of the grains' kinds.
    passes : sequence of PassFigures
        With their pickups.

    Returns
    -------
    Explained
    """
    told = why_left(
        patch,
        {name: TracedShot(SeenGrains(f, maps.shots[name].cover), grains[name]) for name, f in found.items()},
        {kind.name: hint for kind, hint in zip(kinds, hints, strict=True)},
        [{zone: _pickup(z) for zone, z in figures.zones.items()} for figures in passes],
        mm_per_px=registered.grid.mm_per_px,
        apart_mm=registered.apart_mm,
    )
    kept = (why and carried(why, figures) for why, figures in zip(told.passes, passes, strict=True))
    return replace(told, passes=tuple(kept))


def carried(why: WhyLeft, figures: PassFigures) -> WhyLeft | None:
    """What the figures can carry of why debris stayed.

    Where it cannot be told how much was left, it cannot be told why either. Of a zone in which hardly any leftovers
    were found there are no shares, and too few in the patch explain nothing.
    """
    whole = figures.zones["patch"]
    if whole.pickup_percent is None:
        return None
    left = why.leftovers
    kinds = {kind: _found(zones, figures.kinds.get(kind, {})) for kind, zones in left.kinds.items()}
    few = _few(whole)
    zones = _found(left.zones, figures.zones)
    split = {zone: s for zone, s in why.split.items() if zones[zone].untouched_percent is not None}
    return replace(
        why,
        leftovers=replace(left, zones=zones, kinds=kinds),
        split={} if few else split,
        findings=tuple(f for f in why.findings if f.what in WITHOUT_LEFTOVERS) if few else why.findings,
    )


def doubted(told: Explained, passes: Sequence[PassFigures]) -> Explained:
    """Say of every pass that its reach is as doubtful as the pickup, which was found from the same grains.

    Parameters
    ----------
    told : Explained
        With the passes' reach.
    passes : sequence of PassFigures
        Whose pickups are judged.
    """
    kept = (why and _doubted(why, figures.zones["patch"]) for why, figures in zip(told.passes, passes, strict=True))
    return replace(told, passes=tuple(kept))


def _doubted(why: WhyLeft, whole: ZoneFigures) -> WhyLeft:
    if why.reach is None or whole.trust == "sound":
        return why
    doubt = f"All that is said of where the machine went is as doubtful as the pickup: {whole.why}."
    return replace(
        why,
        reach=replace(why.reach, trust=whole.trust, why=whole.why),
        findings=(*why.findings, Explanation("reach doubtful", None, doubt)),
    )


def _found(shares: Mapping[str, LeftShares], zones: Mapping[str, ZoneFigures]) -> dict[str, LeftShares]:
    def told(zone: str, share: LeftShares) -> LeftShares:
        return LeftShares(share.area_mm2, None, None, None) if zone in zones and _few(zones[zone]) else share

    return {zone: told(zone, share) for zone, share in shares.items()}


def _few(figures: ZoneFigures) -> bool:
    return figures.after.grains < FEW_LEFT or figures.more_than_percent is not None


def _pickup(figures: ZoneFigures) -> Pickup:
    """A zone's pickup; what the zone lost and was not picked up was flung out of it."""
    gone, pickup = figures.gone_percent, figures.pickup_percent
    flung = 0.0 if gone is None or pickup is None else gone - pickup
    return Pickup(pickup, figures.interval95, flung)
