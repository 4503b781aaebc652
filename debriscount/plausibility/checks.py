"""Runs that cannot be measured, and figures that must not be taken at their word."""

from collections.abc import Mapping, Sequence

import numpy as np

from ..cover.kinds import KindHint
from ..cover.maps import CoverMaps
from ..errors import NoDebrisError, PhotosDifferError, ShotOrderError, UnknownDebrisError
from ..flags import Flag, listed
from ..grains.table import GrainTable
from ..inputs.debris import DebrisKind
from ..inputs.patch import WALL_SIDES, Patch
from ..photo.read import Photo
from ..pickup.records import BudgetLine, PassFigures, ZoneFigures
from ..pickup.trust import SOUND, TOO_WIDE, WIDE_BECAUSE
from ..registration.register import RegisteredShots

#: Texture of two different floors agrees by chance alone; of half a million places a correlation above 0.04 was
#: not met between unlike floors, and the same floor full of small debris kept 0.13.
UNLIKE = 0.08
#: Share of its debris that a zone must have kept to count as one that lost nothing: a corner often keeps all of it,
#: give or take what two photos of the same grains differ by.
HARDLY_LESS = 0.95
#: Factor by which debris must have grown where the interval of that is unknown: more than any shot shows it larger.
GREW = 1.2
#: Share of the floor on which a kind may drown in noise before its figures are called doubtful.
BLIND = 0.05
#: Pickup, percent, below which the debris has more than doubled, and no machine pushed in what lay nowhere.
DOUBLED = -100.0
#: Density of debris in the margin, over that of the leftovers, from which it spoils them: a tenth of the leftovers may
#: then be pattern.
STREWN = 0.1
#: Grains smaller than a pixel are found by chance only: in simulated runs pickup went wrong by several points below
#: it, and by less than half a point from about 1.3 px on.
TOO_FINE_PX = 1.0
#: Share of the grains that a region's border may cut. About half of those have their centre beyond it and count all
#: the same, so a tenth makes the count a twentieth too high.
CUT = 0.1
#: Without a debris file: how many things must lie within what factor of the usual area, and how wide the interval of
#: their number may be.
ALIKE, UNALIKE, UNSURE = 0.8, 3.0, 0.2
#: What to do about the largest source of uncertainty where a pickup cannot be told.
ADVICE = {
    "floor": "give a photo of the clean floor with --blank, or strew debris of another colour",
    "faint grains": "go closer or use more megapixels",
    "not judged": "strew debris of another colour",
    "colour limit": "strew debris of another colour, or use broader light",
}


def check_same_floor(photos: Mapping[str, Photo], registered: RegisteredShots) -> None:
    """Raise PhotosDifferError if a photo's floor has another texture than the reference's."""
    for name, likeness in registered.likeness.items():
        if likeness is not None and likeness < UNLIKE:
            raise PhotosDifferError(
                f"{photos[name].name}: shows another floor than the other photos of the run (their texture does not "
                "agree). Give photos of one patch taken in one session."
            )


def check_debris(photos: Mapping[str, Photo], passes: Sequence[PassFigures], allow_growth: bool) -> None:
    """Raise NoDebrisError for a *before* without debris, ShotOrderError if it doubled, or grew and no zone lost any.

    It grew if its pickup lies below 0 with all of its interval: of a pass that took nothing half come out below 0.
    """
    first = passes[0].zones
    start = first["patch"].before
    if start.grains == 0 or start.area_mm2 <= 0:
        raise NoDebrisError(
            f"{photos['before'].name}: shows no debris in the patch, so no share of it can be given. Is it the photo "
            f"taken after scattering{', and not the blank' if 'blank' in photos else ''}? Does the debris file name "
            "the right colour?"
        )
    zones = [z for name, z in first.items() if name != "margin" and z.before.grains + z.after.grains > 0]
    doubled = [figures.number for figures in passes if _doubled(figures.zones["patch"])]
    everywhere = _grew(first["patch"]) and all(z.after.area_mm2 > HARDLY_LESS * z.before.area_mm2 for z in zones)
    if not allow_growth and (everywhere or doubled):
        after = "after" if everywhere or doubled[0] == 1 else f"after{doubled[0]}"
        more = "more debris than {} in every zone" if everywhere else "more than twice the debris of {}"
        raise ShotOrderError(
            f"{photos[after].name}: shows {more.format(photos['before'].name)}. Are the two "
            f"exchanged{', or the blank and before' if 'blank' in photos else ''}? If debris did grow, say so with "
            "--allow-growth (allow_growth=True)."
        )


def _grew(zone: ZoneFigures) -> bool:
    if zone.interval95 is None:
        return zone.after.area_mm2 > GREW * zone.before.area_mm2
    return zone.interval95[1] < 0


def _doubled(patch: ZoneFigures) -> bool:
    return patch.interval95 is not None and patch.interval95[1] < DOUBLED


def run_flags(
    patch: Patch,
    registered: RegisteredShots,
    passes: Sequence[PassFigures],
    maps: CoverMaps,
    kinds: Sequence[DebrisKind],
    hints: Sequence[KindHint],
    budget: Sequence[BudgetLine],
) -> tuple[Flag, ...]:
    """Return a flag for everything about a run that makes a figure doubtful or surprising."""
    flags = [*registered.warnings, *kind_flags(maps, kinds, hints)]
    if "blank" not in registered.residual_mm and "margin" in passes[0].zones and _margin_looks_strewn(patch, passes):
        sentence = (
            "the margin shows debris before the first pass: if none was strewn there, the floor's pattern is taken for "
            "debris; give a photo of the clean floor with --blank"
        )
        # Pattern as dense as in the margin moves the pickup by no more than its share of the debris.
        matters = 100 * _margin_over_patch(patch, passes[0].zones) > SOUND
        flags.append(Flag(code="margin-strewn", severity="doubtful" if matters else "note", sentence=sentence))
    for figures in passes:
        pushed = [
            name for name, z in figures.zones.items() if name != "margin" and z.pickup_percent is not None and _grew(z)
        ]
        if pushed:
            sentence = (
                f"pass {figures.number}: more debris than before in {', '.join(pushed)}: pushed in, not picked up"
            )
            flags.append(Flag(code="pushed-in", severity="note", sentence=sentence))
    for figures in passes:
        lost = {name: z.why for name, z in figures.zones.items() if z.pickup_percent is None and z.why}
        lost.pop("margin", None)
        for why in dict.fromkeys(lost.values()):
            names = [name for name in lost if lost[name] == why]
            source = budget[0].source if budget and why == TOO_WIDE else ""
            cause = f": {WIDE_BECAUSE[source]}; {ADVICE[source]}" if source in ADVICE else ""
            sentence = f"pass {figures.number}: pickup of {', '.join(names)} cannot be told, {why}{cause}"
            flags.append(Flag(code="not-told", severity="note", sentence=sentence))
    return tuple(flags)


def kind_flags(maps: CoverMaps, kinds: Sequence[DebrisKind], hints: Sequence[KindHint]) -> list[Flag]:
    """Return a flag for every kind that was not found, is hardly told from the floor or is too fine."""
    flags = []
    missing = [kind.name for kind, colour in zip(kinds, maps.colours, strict=True) if colour.samples == 0]
    if missing:
        sentence = f"no {listed(missing, 'or')} was found"
        flags.append(Flag(code="not-found", severity="doubtful", sentence=sentence))
    for kind, hint, colour, blind in zip(kinds, hints, maps.colours, maps.blind_share, strict=True):
        if colour.samples and blind > BLIND:
            share = f"{100 * blind:.0f} %"
            sentence = f"{kind.name} can hardly be told from the floor on {share} of it; its figures are doubtful"
            flags.append(Flag(code="hardly-told", severity="doubtful", sentence=sentence))
        if hint.size_px[0] < TOO_FINE_PX:
            sentence = (
                f"{kind.name}: small grains are only {hint.size_px[0]:.1f} pixels across; go closer or use more "
                "megapixels, the figures are doubtful"
            )
            flags.append(Flag(code="too-fine", severity="doubtful", sentence=sentence))
    return flags


def check_guess(name: str, grains: GrainTable, interval: tuple[int, int] | None) -> None:
    """Raise UnknownDebrisError if what was taken for debris without a debris file does not look like grains.

    Grains of a kind are alike in size and can be counted; the floor's pattern, edges and shade are neither.
    """
    reason = "nothing that stands out looks like grains"
    if len(grains):
        order = np.argsort(grains.area_mm2)
        total = np.cumsum(grains.area_mm2[order])
        usual = grains.area_mm2[order][np.searchsorted(total, 0.5 * total[-1])]
        alike = float((np.abs(np.log(grains.area_mm2 / usual)) < np.log(UNALIKE)).mean())
        reason = f"only {100 * alike:.0f} % of what stands out is alike in size"
        if alike >= ALIKE:
            reason = "too much of it hangs together to be counted"
            if interval is not None and interval[1] - interval[0] <= max(UNSURE * len(grains), 2):
                return
    raise UnknownDebrisError(
        f"{name}: what of it is debris cannot be told ({reason}). Give --debris FILE.toml with the name, rough colour "
        "and size of the grains (README, debris.toml), or a photo of the clean floor with --blank."
    )


def border_warnings(grains: GrainTable, region: Patch) -> list[str]:
    """Warn if a region's border cuts many grains: their centre is nearer to it than their own radius."""
    to_border = np.minimum.reduce([region.to_side_mm(side, grains.x_mm, grains.y_mm) for side in WALL_SIDES])
    cut = int((to_border < grains.diameter_mm / 2).sum())
    if cut <= CUT * len(grains):
        return []
    return [
        f"{cut} of {len(grains)} grains touch the region's border; those that it cuts are counted with the area that "
        "is seen. Choose a region whose border runs over bare floor"
    ]


def _margin_looks_strewn(patch: Patch, passes: Sequence[PassFigures]) -> bool:
    """Whether the margin holds debris before the first pass at a density that matters beside the leftovers'."""
    first, left_mm2 = passes[0].zones, passes[-1].zones["patch"].after.area_mm2
    return _margin_over_patch(patch, first) * first["patch"].before.area_mm2 > STREWN * left_mm2


def _margin_over_patch(patch: Patch, zones: Mapping[str, ZoneFigures]) -> float:
    """Density of what the margin shows before the first pass, over that of the patch's debris."""
    left, top, right, bottom = patch.outer_box_mm()
    patch_mm2 = patch.width_mm * patch.height_mm
    margin_mm2 = (right - left) * (bottom - top) - patch_mm2
    return zones["margin"].before.area_mm2 / margin_mm2 * patch_mm2 / max(zones["patch"].before.area_mm2, 1e-9)
