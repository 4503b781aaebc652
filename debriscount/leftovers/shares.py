"""Leftovers told apart: what the machine never moved, and what it moved without picking it up."""

from collections.abc import Sequence

import numpy as np

from ..arrays import Mask
from ..grains.table import zone_members
from ..inputs.patch import Patch
from ..stats.proportion import Interval, mean_share
from ..stats.quantity import Z95
from .records import Fates, Leftovers, LeftShares, Reach, ReachedShare, WhySplit


def leftovers_of(fates: Fates, patch: Patch, kind_names: Sequence[str]) -> Leftovers:
    """Shares of the leftovers that lie untouched and shifted: of the patch, its zones and the user's own, and by kind.

    Parameters
    ----------
    fates : Fates
        From *before* to the shot after the pass.
    patch : Patch
        Its zones.
    kind_names : sequence of str
        In the order of the grains' kinds.

    Returns
    -------
    Leftovers
        Shares are by area of the later shot. A sum of estimates that strays beyond 0 or 100 % is put there. A zone
        without debris has None. An interval holds what counting would make of as many grains, and the standard
        uncertainty of each kind's untouched share, the kinds' taken to err alike. All grains left were seen, so that
        counting alone errs by less than that, and the interval is rather too wide.
    """
    kinds = range(len(kind_names))
    members = zone_members(patch, fates.later)
    return Leftovers(
        zones={zone: _shares(fates, member) for zone, member in members.items()},
        kinds={
            name: {zone: _shares(fates, member & (fates.later.kind == kind)) for zone, member in members.items()}
            for kind, name in zip(kinds, kind_names, strict=True)
        },
        least_shift_mm=dict(zip(kind_names, fates.least_shift_mm, strict=True)),
        chance_percent=dict(zip(kind_names, fates.chance_percent, strict=True)),
        matched=dict(zip(kind_names, fates.matched, strict=True)),
    )


def why_split(fates: Fates, patch: Patch, reach: Reach | None) -> dict[str, WhySplit]:
    """Part what a pass left by what the pass did to it.

    Parameters
    ----------
    fates : Fates
        From the shot that the pass began with to the one after it.
    patch : Patch
        Its zones.
    reach : Reach or None
        How much of each zone's debris lay where the machine acted.

    Returns
    -------
    dict of str to WhySplit
        By zone, "patch" among them; without those of which the reach or the leftovers are not known.

    Notes
    -----
    All that lay where the machine never went is left, and was not moved: of the leftovers it is the share of the debris
    that lay there over the share that is left. That cannot be more than what was not moved, to which it is cut where
    the two estimates differ. What else was not moved was left lying.
    """
    if reach is None:
        return {}
    earlier, later = zone_members(patch, fates.earlier), zone_members(patch, fates.later)
    split = {}
    for zone, reached in reach.zones.items():
        before = float(fates.earlier.area_mm2[earlier[zone]].sum())
        left = _shares(fates, later[zone])
        # A pass that took next to nothing tells nothing of where it was.
        unknown = zone == "margin" or reached.share_percent is None or reached.pickup_percent is None
        if unknown or left.untouched_percent is None or left.shifted_percent is None or before <= 0:
            continue
        missed_percent = 100 * before / left.area_mm2  # of the leftovers, if nothing had been reached
        never = min(missed_percent * (100 - (reached.share_percent or 0.0)) / 100, left.untouched_percent)
        split[zone] = WhySplit(
            never,
            left.untouched_percent - never,
            left.shifted_percent,
            *_split_intervals(never, left, reached, missed_percent),
        )
    return split


def _split_intervals(
    never: float, left: LeftShares, reached: ReachedShare, missed_percent: float
) -> tuple[Interval | None, Interval | None, Interval | None]:
    """Intervals of the three parts: of what was left lying, half widths of the other two add as squares."""
    untouched, interval = left.untouched_percent, left.untouched_interval95
    if untouched is None or interval is None:
        return None, None, None
    moved = (100 - interval[1], 100 - interval[0])
    if reached.interval95 is None:
        return None, None, moved
    low, high = (missed_percent * (100 - end) / 100 for end in reversed(reached.interval95))
    never95 = (min(max(low, 0.0), never), max(min(high, interval[1]), never))
    lying = untouched - never
    down = float(np.hypot(untouched - interval[0], never95[1] - never))
    up = float(np.hypot(interval[1] - untouched, never - never95[0]))
    return never95, (max(lying - down, 0.0), min(lying + up, 100.0)), moved


def _shares(fates: Fates, chosen: Mask) -> LeftShares:
    area = fates.later.area_mm2[chosen]
    found = mean_share(fates.untouched[chosen], area)
    if found is None:
        return LeftShares(float(area.sum()), None, None, None)
    share, (low, high) = found
    weights = np.bincount(fates.later.kind[chosen], area, len(fates.matched)) / area.sum()
    more = Z95 * float(weights @ np.array(fates.u_untouched_percent))
    untouched = 100 * share
    down, up = np.hypot(untouched - 100 * low, more), np.hypot(100 * high - untouched, more)
    interval = (max(0.0, float(untouched - down)), min(100.0, float(untouched + up)))
    return LeftShares(float(area.sum()), untouched, 100 - untouched, interval)
