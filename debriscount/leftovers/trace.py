"""What became of each grain between two shots."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..arrays import Floats, Mask
from ..cover.kinds import KindHint
from ..grains.table import GrainTable
from .moved import SURE, NearestGrains, moved_grains, nearest_grains, place_sigma_mm
from .overlap import Overlaps, SeenGrains, overlaps
from .records import Fates

#: Share of a grain's usual overlap from which it lies where it lay: half way. LOOSE and STRICT are tried beside it to
#: see how much hangs on that.
HALF, LOOSE, STRICT = 0.5, 0.35, 0.65
#: Least chance of falling on bare floor that is reckoned with: where debris lay closer than that nothing can be told.
LEAST_BARE = 0.2


@dataclass(frozen=True, slots=True, eq=False)
class TracedShot:
    """A shot as it takes part: its grains on the raster and in millimetres."""

    seen: SeenGrains
    grains: GrainTable


def trace(
    earlier: TracedShot, later: TracedShot, kinds: Sequence[KindHint], mm_per_px: float, apart_mm: float
) -> Fates:
    """Tell which grains lie still between two shots.

    Parameters
    ----------
    earlier, later : TracedShot
        Two shots on one raster.
    kinds : sequence of KindHint
        In the order of the grains' kinds.
    mm_per_px : float
        Of the raster.
    apart_mm : float
        How far the shots may lie apart, standard deviation of a coordinate.

    Returns
    -------
    Fates

    Notes
    -----
    A grain lies still if debris covers at least half of it in the other shot as well, and it is not seen to have moved.
    How often that comes about by chance is measured around every grain (`overlaps`) and corrected for: if a moved grain
    lands clear of earlier debris with chance n, each one seen clear stands for 1 / n moved ones (Horvitz and Thompson
    1952), and the surplus is taken off what seems untouched, where chance is greatest. Its variance is theirs as well,
    a sum of squared areas times (1 - n) / n².
    """
    there, back = overlaps(later.seen, earlier.seen), overlaps(earlier.seen, later.seen)
    stayed, untouched = np.zeros(len(earlier.grains)), np.zeros(len(later.grains))
    least, u, chance, gone = [], [], [], [np.zeros(0, int)]
    for k, hint in enumerate(kinds):
        own, before = later.grains.kind == k, earlier.grains.kind == k
        pairs = nearest_grains(later.grains, earlier.grains) if hint.outlined else None
        sigma = None if pairs is None else place_sigma_mm(pairs, own & (there.here >= HALF) & ~there.faint, apart_mm)
        judged = _judge(later.grains, earlier.grains, there, own, pairs, sigma, mm_per_px)
        untouched[own] = judged.still[own]
        stayed[before] = (back.here >= HALF * _usual(back, before))[before]
        if pairs is not None:
            gone.append(pairs.index[judged.moved])
        least.append(_least_shift_mm(sigma, hint, mm_per_px))
        u.append(judged.u_percent)
        chance.append(judged.chance_percent)
    # A grain that lies beside its place may be taken for another kind's.
    stayed[np.concatenate(gone)] = 0.0
    matched = tuple(hint.outlined for hint in kinds)
    return Fates(
        earlier=earlier.grains,
        later=later.grains,
        stayed=stayed,
        untouched=untouched,
        matched=matched,
        least_shift_mm=tuple(least),
        u_untouched_percent=tuple(u),
        chance_percent=tuple(chance),
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Judged:
    """The grains of one kind: the chance that each lies still, those seen to have moved, and how sure that is."""

    still: Floats
    moved: Mask
    u_percent: float
    chance_percent: float


def _judge(
    grains: GrainTable,
    others: GrainTable,
    seen: Overlaps,
    own: Mask,
    pairs: NearestGrains | None,
    sigma_mm: float | None,
    mm_per_px: float,
) -> _Judged:
    count = len(grains)
    if not own.any():
        return _Judged(np.zeros(count), np.zeros(count, bool), 0.0, 0.0)
    usual = _usual(seen, own)
    moved, found_out = np.zeros(count, bool), np.zeros((len(seen.offsets_px), count), bool)
    if pairs is not None and sigma_mm is not None:
        each_other = nearest_grains(others, grains).index[pairs.index] == np.arange(count)
        size = grains.diameter_mm
        moved = own & moved_grains(pairs, sigma_mm, seen.here / usual, size) & ~seen.faint & each_other
        # A grain that chance puts onto an earlier one would be found out in the same way.
        beside = [nearest_grains(grains, others, (dx * mm_per_px, dy * mm_per_px)) for dx, dy in seen.offsets_px]
        found_out = np.array(
            [
                moved_grains(near, sigma_mm, there / usual, size) & ~seen.faint
                for near, there in zip(beside, seen.by_chance, strict=True)
            ]
        )
    area = np.where(own, grains.area_mm2, 0.0)
    total = float(area.sum())
    shares = []
    # The last one is the one that counts.
    for limit in (LOOSE, STRICT, HALF):
        clear = np.clip(((seen.by_chance < limit * usual) | found_out).mean(axis=0), LEAST_BARE, 1.0)
        lies = own & (seen.here >= limit * usual) & ~moved
        surplus = float((area * (1 / clear - 1))[own & ~lies].sum())
        still = _less_surplus(area, lies, 1 - clear, surplus)
        shares.append(float((area * still).sum()) / total)
    counted = float(np.sqrt((area**2 * (1 - clear) / clear**2)[own & ~lies].sum())) / total
    u = float(np.hypot((max(shares[:2]) - min(shares[:2])) / 2, counted))
    return _Judged(still, moved, 100 * u, 100 * float((area * (1 - clear)).sum()) / total)


def _usual(seen: Overlaps, own: Mask) -> float:
    """Overlap of grains that lie still, which differs a little from 1 as light and sharpness do between shots."""
    still = seen.here[own & (seen.here > HALF)]
    return float(np.median(still)) if len(still) else 1.0


def _less_surplus(area: Floats, lies: Mask, chance: Floats, surplus: float) -> Floats:
    """The chance of each that it lies still, such that ``surplus`` of area is taken off where chance is greatest."""
    weight = np.where(lies, area * chance, 0.0)
    if not weight.any():
        return lies.astype(float)
    return np.asarray(np.where(lies, np.clip(1 - chance * surplus / weight.sum(), 0, 1), 0.0))


def _least_shift_mm(sigma_mm: float | None, hint: KindHint, mm_per_px: float) -> float:
    """Shortest way that is told from lying still: by the middles, or else by half the overlap that a disc loses.

    Two discs of diameter D half cover one another at a distance of 0.404 D (lens of two circles).
    """
    by_overlap = 0.404 * float(np.sqrt(hint.size_px[0] * hint.size_px[1])) * mm_per_px
    return by_overlap if sigma_mm is None else min(SURE * sigma_mm, by_overlap)
