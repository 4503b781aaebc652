"""What each pass brought of what it found, whether passes miss the same places, and what one more may bring."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..arrays import Floats, Mask
from ..grains.table import GrainTable, zone_members
from ..inputs.patch import Patch
from ..stats.proportion import Interval
from ..stats.quantity import Z95, coverage_factor95
from .reach.missed import inside_outline
from .records import Brought, FurtherPass, MissedPlace, PassStep, Reach, middle_mm

#: Percentage points; a gain as small is none that another could be a multiple of.
_LEAST_GAIN = 1e-9


@dataclass(frozen=True, slots=True)
class Pickup:
    """Pickup after a pass, against *before*, percent, and its 95 % interval; None where unknown.

    ``flung_percent`` is what of *before* lies in the margin by then: left, but no longer there for a pass to find.
    """

    percent: float | None
    interval95: Interval | None
    flung_percent: float = 0.0


def pass_step(
    number: int,
    pickup: Pickup,
    earlier: Pickup | None = None,
    reach: Reach | None = None,
    earlier_reach: Reach | None = None,
    found: GrainTable | None = None,
    stayed: Floats | None = None,
) -> PassStep:
    """What a pass brought of what it found.

    Parameters
    ----------
    number : int
        Of the pass, from 1.
    pickup : Pickup
        After this pass.
    earlier : Pickup, optional
        After the pass before; None for the first.
    reach, earlier_reach : Reach, optional
        Of this pass and of the pass before, on equal grids.
    found : GrainTable, optional
        The grains that this pass began with.
    stayed : ndarray of shape (len(found),), optional
        Share of each that still lies in its place after the pass.

    Returns
    -------
    PassStep
        A pass that found nothing, or whose pickup is unknown, has None.

    Raises
    ------
    ValueError
        Maps of reach on different grids.

    Notes
    -----
    Missed twice is a share of the debris that the pass found, by area, where both maps tell: with the chances m and n
    that the place of a grain was missed by this pass and by the one before, sum(a m n) / sum(a m) against
    sum(a n) / sum(a), which it would be if m and n had nothing to do with each other. Debris found lies mostly where
    the pass before missed, which raises both alike.
    """
    share, interval = of_found(pickup, earlier)
    again, chance = _missed_again(reach, earlier_reach, found)
    return PassStep(
        number=number,
        of_found_percent=share,
        of_found_interval95=interval,
        together_percent=pickup.percent,
        missed_again_percent=again,
        missed_again_by_chance_percent=chance,
        from_missed_percent=_from_missed(earlier_reach, found, stayed),
    )


def brought(found: GrainTable, stayed: Floats, patch: Patch, missed: Sequence[MissedPlace]) -> tuple[Brought, ...]:
    """What a further pass took, and from where.

    Parameters
    ----------
    found : GrainTable
        The grains that it began with.
    stayed : ndarray of shape (len(found),)
        Share of each that still lies in its place.
    patch : Patch
        Its zones.
    missed : sequence of MissedPlace
        Places that the pass before had missed.

    Returns
    -------
    tuple of Brought
        Those places in their order, then the zones, as far as debris lay there; a grain is in one of each.
    """
    members = zone_members(patch, found)
    whole = members.pop("patch")
    members.pop("margin", None)
    taken = found.area_mm2 * (1 - stayed)
    everything = float(taken[whole].sum())
    spots = np.column_stack([found.x_mm, found.y_mm])
    parts: list[tuple[str, tuple[float, float] | None, Mask]] = []
    for place in missed:
        parts.append(("missed", middle_mm(place), whole & inside_outline(spots, np.array(place.polygon_mm))))
    parts += [(zone, None, own) for zone, own in members.items()]
    return tuple(
        Brought(
            what=what,
            around_mm=around,
            found_mm2=float(found.area_mm2[own].sum()),
            taken_percent=100 * float(taken[own].sum()) / float(found.area_mm2[own].sum()),
            share_percent=100 * float(taken[own].sum()) / everything if everything > 0 else 0.0,
        )
        for what, around, own in parts
        if found.area_mm2[own].sum() > 0
    )


def further_pass(pickups: Sequence[Pickup]) -> FurtherPass | None:
    """What one more pass may bring, extrapolated from the passes so far.

    Parameters
    ----------
    pickups : sequence of Pickup
        After each pass, the first one first.

    Returns
    -------
    FurtherPass or None
        None for fewer than two passes: one says nothing of the next; and where a pickup is unknown or nothing is left.

    Notes
    -----
    Two ways to go on bound what may be expected. If the next pass picks up the same share of what it finds as the last
    one did, it goes elsewhere and meets what that one missed. If it repeats the path, a hard core stays for good, and
    gains shrink by the same factor again: with a share h never met and q of the rest picked up by each pass they are
    (1 - h) q (1 - q)^p. The middle of both is given. Its uncertainty holds the way between them as a rectangular
    distribution, the last pickup's interval, and the standard deviation of what the passes picked up of what they
    found, for the next pass may differ from the last as these did; that deviation's few degrees of freedom widen the
    interval (JCGM 100, G.4.1).
    """
    together = [pickup.percent for pickup in pickups]
    known = [percent for percent in together if percent is not None]
    if len(known) < max(2, len(together)) or known[-1] + pickups[-1].flung_percent >= 100:
        return None
    steps = [of_found(pickup, earlier)[0] for pickup, earlier in zip(pickups, [None, *pickups[:-1]], strict=True)]
    shares = np.array([step for step in steps if step is not None])
    if len(shares) < len(known):
        return None
    gains = np.diff([0.0, *known])
    left = 100 - known[-1] - pickups[-1].flung_percent
    afresh = max(0.0, left * float(shares[-1]) / 100)
    repeated = 0.0
    if gains[-2] > 0:
        # Gains that grow do not shrink on: what is left then bounds the next.
        repeated = min(afresh, float(gains[-1]) * max(0.0, float(gains[-1] / max(gains[-2], _LEAST_GAIN))))
    last_low, last_high = pickups[-1].interval95 or (known[-1], known[-1])
    u_last = (last_high - last_low) / 2 / Z95
    u_spread = left * float(shares.std(ddof=1)) / 100
    # Anywhere between the two is as likely: variance of an even distribution, width squared over 12.
    u = float(np.sqrt((afresh - repeated) ** 2 / 12 + u_spread**2 + u_last**2))
    # Of the variance, squared; where it is next to nothing the normal factor holds.
    part = (u_spread / u) ** 4 if u > 0 else 0.0
    half = coverage_factor95((len(shares) - 1) / part if part > 1e-9 else np.inf) * u
    value = known[-1] + (afresh + repeated) / 2
    # What was picked up stays so.
    interval = max(last_low, value - half), min(100.0, value + half)
    sentence = (
        f"Extrapolated from {len(known)} passes, which picked up {round(shares.min())} to {round(shares.max())} % of "
        f"what they found, one more may bring the pickup from {_tenths(known[-1])} to about {_tenths(value)} % "
        f"({_tenths(interval[0])} to {_tenths(interval[1])} %); what no pass reached stays if the machine repeats its "
        "path."
    )
    return FurtherPass(value, interval, sentence)


def _tenths(percent: float) -> str:
    return f"{round(percent, 1) + 0.0:.1f}"  # no minus before a zero


def of_found(pickup: Pickup, earlier: Pickup | None) -> tuple[float | None, Interval | None]:
    """What a pass picked up of what it found, percent, and its 95 % interval; ``earlier`` is None for the first.

    Notes
    -----
    With R of the debris left after this pass and Q after the one before, less what lay in the margin when the pass
    began and lies there still, it picked up 1 - R/Q of what it found. The interval of the ratio combines the limits of
    both as Donner and Zou do (Statistical Methods in Medical Research 21 (2012) 347-359), the two taken to err by
    themselves; where they err alike it is too wide.
    """
    if earlier is None:
        return pickup.percent, pickup.interval95
    # What a pass brought back from the margin was there to be found.
    there = 100 - min(earlier.flung_percent, pickup.flung_percent)
    if pickup.percent is None or earlier.percent is None or earlier.percent >= there:
        return None, None
    left, found = there - pickup.percent, there - earlier.percent
    share = 100 * (1 - left / found)
    if pickup.interval95 is None or earlier.interval95 is None:
        return share, None
    (low, high), (base_low, base_high) = (
        (there - p.interval95[1], there - p.interval95[0]) for p in (pickup, earlier) if p.interval95 is not None
    )
    if base_low <= 0:
        return share, None
    product = left * found
    down = product**2 - low * base_high * (2 * left - low) * (2 * found - base_high)
    up = product**2 - high * base_low * (2 * left - high) * (2 * found - base_low)
    if min(down, up) < 0 or 2 * found <= base_high:
        return share, None
    least = (product - np.sqrt(down)) / (base_high * (2 * found - base_high))
    most = (product + np.sqrt(up)) / (base_low * (2 * found - base_low))
    return share, (100 * (1 - float(most)), min(100.0, 100 * (1 - float(least))))


def _missed_again(
    reach: Reach | None, earlier: Reach | None, found: GrainTable | None
) -> tuple[float | None, float | None]:
    if reach is None or earlier is None or found is None:
        return None, None
    if reach.grid != earlier.grid:
        raise ValueError(f"maps of reach must lie on one grid, got {reach.grid} and {earlier.grid}")
    missed, before = _missed_at(reach, found), _missed_at(earlier, found)
    told = np.isfinite(missed) & np.isfinite(before)
    area, missed, before = found.area_mm2[told], missed[told], before[told]
    if (area * missed).sum() <= 0:
        return None, None
    return 100 * float((area * missed) @ before / (area * missed).sum()), 100 * float(area @ before / area.sum())


def _missed_at(reach: Reach, grains: GrainTable) -> Floats:
    """Chance that the place of each grain was missed, shape (N,); NaN where that is not told."""
    column, row = np.rint(reach.grid.to_px(np.stack([grains.x_mm, grains.y_mm], axis=-1))).astype(int).T
    height, width = reach.grid.shape
    inside = (column >= 0) & (column < width) & (row >= 0) & (row < height)
    chance = np.full(len(column), np.nan)
    chance[inside] = 1 - reach.map[row[inside], column[inside]].astype(float)
    return chance


def _from_missed(earlier: Reach | None, found: GrainTable | None, stayed: Floats | None) -> float | None:
    """Share of what a pass took from its place that lay where the pass before had not been, percent."""
    if earlier is None or found is None or stayed is None:
        return None
    before = _missed_at(earlier, found)
    told = np.isfinite(before)
    taken = (found.area_mm2 * (1 - stayed))[told]
    return 100 * float(taken @ before[told] / taken.sum()) if taken.sum() > 0 else None
