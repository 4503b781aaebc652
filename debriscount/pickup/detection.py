"""From what size on leftovers can be told from what the clean floor itself shows as debris (Currie 1968)."""

from collections.abc import Mapping
from dataclasses import dataclass, field

import cv2
import numpy as np

from ..arrays import Mask
from ..grains.table import GrainTable, zone_members
from ..inputs.patch import Patch
from ..registration.grid import FloorGrid

#: Normal deviate that one in twenty exceed: 5 % each for taking floor for debris and for missing debris.
K = 1.645
#: Every so many pixels of the floor view the floor is sampled to learn which share of a zone was left out.
SAMPLE_PX = 4


@dataclass(frozen=True, slots=True)
class Limits:
    """Above ``critical`` debris is called found; from ``detection`` on it is found 19 times in 20."""

    critical: float
    detection: float


def currie_limits(background: float, paired: bool = True, unit: float = 1.0) -> Limits:
    """Critical level and detection limit of a signal above a background.

    Parameters
    ----------
    background : float
        Variance of what the background alone shows: the expected count itself, or, of areas, the sum of the squared
        areas. At least zero.
    paired : bool
        Whether the background was seen just once, as in a blank; otherwise it is well known.
    unit : float
        Variance of the signal over the signal: 1 for counts, 0 where the signal does not vary by chance.

    Returns
    -------
    Limits
        In the unit of the signal.

    Raises
    ------
    ValueError
        If the background is negative.

    Notes
    -----
    L_C = k s and L_D = k^2 unit + 2 k s with k = 1.645, s^2 twice the background's variance for paired observations,
    once for a well-known one [1]_. In counts these are the working formulas of its Table II, L_C = 2.33 sqrt(B) and
    L_D = 2.71 + 4.65 sqrt(B), or 1.64 sqrt(B) and 2.71 + 3.29 sqrt(B) (quoted from memory).

    References
    ----------
    .. [1] L. A. Currie, Limits for qualitative detection and quantitative determination, Analytical Chemistry 40
       (1968) 586-593.
    """
    if not background >= 0:
        raise ValueError(f"background must be at least 0, got {background}")
    critical = K * float(np.sqrt((2 if paired else 1) * background))
    return Limits(critical, K**2 * unit + 2 * critical)


def most_left(left_mm2: float, limits: Limits) -> float:
    """Area, mm², below which the leftovers lie for sure (19 times in 20) when ``left_mm2`` was seen.

    That is the detection limit, as long as what was seen stays below the critical level. Above it something was found,
    and the limit alone would promise too much: leftovers of just that limit show less than it every other time.
    """
    return max(limits.detection, left_mm2 + limits.critical)


@dataclass(frozen=True, slots=True, eq=False)
class FalseGrains:
    """What bare floor shows as debris: in a blank, or without one in the mirror of a shot.

    ``least_mm2`` is, for each kind, the area of the smallest thing taken for a grain; ``left_out`` the share of a
    zone's floor on which none were looked for, none where a zone is not named.
    """

    grains: GrainTable
    least_mm2: tuple[float, ...]
    left_out: Mapping[str, float] = field(default_factory=dict)


def mirror_grains(
    patch: Patch,
    grid: FloorGrid,
    mirror: GrainTable,
    debris: Mask,
    reach_mm: float,
    least_mm2: tuple[float, ...],
) -> FalseGrains:
    """False grains of a shot's own floor, for runs without a blank.

    Parameters
    ----------
    patch : Patch
        Its zones.
    grid : FloorGrid
        Raster of the floor view.
    mirror : GrainTable
        What is found in the shot when the sign of its cover is reversed.
    debris : ndarray of bool, shape (H, W)
        Where the shot shows debris.
    reach_mm : float
        Diameter of a large grain. What lies closer than this to debris is left out.
    least_mm2 : tuple of float
        For each kind, the area of the smallest thing taken for a grain.

    Returns
    -------
    FalseGrains

    Notes
    -----
    Chance takes bare floor as often to one side as to the other, so departures from floor *away* from debris are as
    many and as large as false grains. Shade is one-sided: it may make more of them on one side, most of all close to
    debris, where light grains' shadows are the mirror of dark debris. The mirror therefore serves the limit alone, and
    its area is never taken off the debris'; what is left there only makes "more than" rarer.
    """
    away_px = cv2.distanceTransform((~debris).astype(np.uint8), cv2.DIST_L2, cv2.DIST_MASK_5)
    near = away_px < reach_mm / grid.mm_per_px
    column, row = np.rint(grid.to_px(np.stack([mirror.x_mm, mirror.y_mm], axis=-1))).astype(int).T
    kept = ~near[np.clip(row, 0, grid.height_px - 1), np.clip(column, 0, grid.width_px - 1)]
    return FalseGrains(mirror.take(kept), least_mm2, _shares(patch, grid, near))


def _shares(patch: Patch, grid: FloorGrid, chosen: Mask) -> dict[str, float]:
    """Share of each zone's floor that is chosen."""
    x, y = (places.ravel() for places in np.meshgrid(grid.x_mm()[::SAMPLE_PX], grid.y_mm()[::SAMPLE_PX]))
    # Pieces of floor as if they were grains, so that they belong to zones by the same rule.
    area = np.full(len(x), (SAMPLE_PX * grid.mm_per_px) ** 2)
    floor = GrainTable(np.zeros(len(x), np.int16), x, y, area, patch.zone_codes(x, y))
    sample = chosen[::SAMPLE_PX, ::SAMPLE_PX].ravel()
    return {zone: float(sample[m].mean()) for zone, m in zone_members(patch, floor).items() if m.any()}


def zone_limits(patch: Patch, false: FalseGrains, only: int | None = None) -> dict[str, Limits]:
    """Limits of the leftovers' area in every zone, mm², of all kinds or of one.

    Parameters
    ----------
    patch : Patch
        Its zones.
    false : FalseGrains
        What bare floor shows as debris.
    only : int, optional
        Index of a kind.

    Returns
    -------
    dict of str to Limits
        Keyed by "patch", the patch's zones and its custom zones; those whose floor was left out whole are missing.
        The patch's take in the margin, whose gain counts as left in the patch.

    Notes
    -----
    False grains are chance events, so the variance of their summed area is the sum of their squared areas; for each
    kind half an event of the least area is added, the Jeffreys prior of a Poisson rate [1]_: none seen does not mean
    never. Where floor was left out both are scaled up to the whole zone. Blank and shot are paired observations, and
    so are mirror and shot. How many grains happened to stay is no part of it: one run was photographed whole. A look
    that happens to hold few false grains makes the limits small as well: with about forty of unlike sizes, debris is
    called found on bare floor 8 times in 100, not 5. With a blank the floor is learned from it first of all, so that it
    holds fewer false grains than a later shot does: on floors patterned like debris the limits are too small.

    References
    ----------
    .. [1] H. Jeffreys, An invariant form for the prior probability in estimation problems, Proc. R. Soc. A 186 (1946)
       453-461.
    """
    kinds = range(len(false.least_mm2)) if only is None else (only,)
    unseen = 0.5 * sum(false.least_mm2[k] ** 2 for k in kinds)
    chosen = np.isin(false.grains.kind, kinds)
    variance = {}
    for zone, member in zone_members(patch, false.grains).items():
        looked_at = 1 - false.left_out.get(zone, 0.0)
        seen = float((false.grains.area_mm2[member & chosen] ** 2).sum())
        variance[zone] = (seen + unseen) / looked_at if looked_at > 0 else np.inf
    variance["patch"] += variance.get("margin", 0.0)
    return {zone: currie_limits(v, unit=0.0) for zone, v in variance.items() if np.isfinite(v)}
