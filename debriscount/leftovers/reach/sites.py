"""Places that tell whether the machine acted there: single grains, or cells of grains too fine to be followed."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ...arrays import Floats, Mask
from ...grains.table import zone_members
from ...inputs.patch import OPEN, Patch
from ..records import Fates

#: Grains of a cell. What became of a single fine grain is known only on average; ten bring a standard deviation of
#: one grain down to a third, and their cell is still small.
_CELL_GRAINS = 10


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Sites:
    """Places with debris in the earlier shot, one entry a place in every array.

    ``area_mm2`` is the debris that lay there, ``stayed`` its share that still lies there. Places of one ``group`` (of
    ``groups``) hold one kind in one zone, and on open floor either near a wall or not, so that the machine left alike.
    ``noise`` is the variance of ``stayed``; 0 for single grains, which stay or go. ``of_grain`` has one entry a grain
    of the earlier shot: the place that it is part of, -1 for grains outside the patch; ``grain_noise`` the variance of
    its own share, 0 where it stays or goes.
    """

    x_mm: Floats
    y_mm: Floats
    area_mm2: Floats
    stayed: Floats
    noise: Floats
    group: NDArray[np.intp]
    groups: int
    of_grain: NDArray[np.intp]
    grain_noise: Floats

    def __len__(self) -> int:
        return len(self.x_mm)

    @property
    def single(self) -> Mask:
        """Which places are single grains."""
        return np.asarray(self.noise == 0)

    @property
    def spacing_mm(self) -> float:
        """Typical distance between neighbours: the side of the square that each would have to itself."""
        # Off 0 where all lie in a line.
        spread = max(np.ptp(self.x_mm), 1e-9) * max(np.ptp(self.y_mm), 1e-9)
        return float(np.sqrt(spread / len(self)))


def gather_sites(fates: Fates, patch: Patch) -> Sites:
    """The places of a pass that tell what became of debris.

    Parameters
    ----------
    fates : Fates
        Grains become a place each, but those of kinds whose shares are no more than estimates of a right mean: they are
        gathered in square cells of about ten, apart by zone.
    patch : Patch
        Only its own grains tell; those of the margin were never to be picked up.
    """
    grains = fates.earlier
    inside = zone_members(patch, grains)["patch"]
    of_grain, grain_noise = np.full(len(grains), -1, np.intp), np.zeros(len(grains))
    parts: list[tuple[Floats, ...]] = []
    count = 0
    for kind in range(len(fates.matched)):
        own = np.flatnonzero(inside & (grains.kind == kind))
        if not len(own):
            continue
        # A share strays beyond 0 and 1 only if it is an estimate whose mean alone is right.
        matched = fates.matched[kind] or bool(((fates.stayed[own] >= 0) & (fates.stayed[own] <= 1)).all())
        cell = np.arange(len(own)) if matched else _cells(grains.x_mm[own], grains.y_mm[own], grains.zone[own])
        of_grain[own] = count + cell
        cells = int(cell.max()) + 1
        area = _summed(grains.area_mm2[own], cell, cells)
        weight = grains.area_mm2[own] / area[cell]
        x, y, stayed = (_summed(weight * v[own], cell, cells) for v in (grains.x_mm, grains.y_mm, fates.stayed))
        noise = np.zeros(cells)
        if not matched:
            together = _summed(weight**2, cell, cells)
            grain_noise[own] = _grain_noise(fates.stayed[own] - stayed[cell], weight, cell, together)
            noise[:] = grain_noise[own[0]] * together
        first = np.zeros(cells, np.intp)
        first[cell] = np.arange(len(own))
        # Zone codes are below 64, so that every kind and zone, and what of it lies near a wall, have their own labels.
        zone = grains.zone[own][first]
        part = zone + 64.0 * ((zone == OPEN) & _near_wall(patch, x, y))
        parts.append((x, y, area, stayed, noise, kind * 128.0 + part))
        count += cells
    if not parts:
        empty = np.zeros(0)
        return Sites(
            x_mm=empty,
            y_mm=empty,
            area_mm2=empty,
            stayed=empty,
            noise=empty,
            group=np.zeros(0, np.intp),
            groups=0,
            of_grain=of_grain,
            grain_noise=grain_noise,
        )
    x, y, area, stayed, noise, label = (np.concatenate(column) for column in zip(*parts, strict=True))
    labels, group = np.unique(label, return_inverse=True)
    return Sites(
        x_mm=x,
        y_mm=y,
        area_mm2=area,
        stayed=stayed,
        noise=noise,
        group=group.astype(np.intp),
        groups=len(labels),
        of_grain=of_grain,
        grain_noise=grain_noise,
    )


def _near_wall(patch: Patch, x: Floats, y: Floats) -> Mask:
    """Which places lie no farther from a wall than twice the edge zone's depth."""
    near = [patch.to_side_mm(wall, x, y) < 2 * patch.edge_mm for wall in patch.walls]
    return np.asarray(np.logical_or.reduce([np.zeros(len(x), bool), *near]), np.bool_)


def _summed(values: Floats, cell: NDArray[np.intp], cells: int) -> Floats:
    return np.asarray(np.bincount(cell, values, cells), float)


def _cells(x: Floats, y: Floats, zone: NDArray[np.int8]) -> NDArray[np.intp]:
    """Number of each grain's cell, from 0 on without gaps."""
    # Off 0 where all lie in a line.
    side = np.sqrt(_CELL_GRAINS * max(np.ptp(x), 1e-9) * max(np.ptp(y), 1e-9) / len(x))
    column, row = ((v - v.min()) // side for v in (x, y))
    # A zone is one of four codes, so that every cell and zone have a number of their own.
    _, cell = np.unique((row * (column.max() + 1) + column) * 4 + zone, return_inverse=True)
    return cell.astype(np.intp)


def _grain_noise(off: Floats, weight: Floats, cell: NDArray[np.intp], together: Floats) -> float:
    """Variance of a grain's share, one for the whole kind, from the scatter within its cells; never 0.

    Within a cell of ten it would be too rough. ``together`` holds each cell's summed squares of weights.
    """
    spread = np.bincount(cell, weight * off**2, len(together))
    # A cell that one grain makes alone tells no scatter.
    several = together < 0.99
    grain = float(spread[several].sum() / (1 - together[several]).sum()) if several.any() else 1.0
    # Off 0, which would make a cell a single grain.
    return max(grain, 1e-4)
