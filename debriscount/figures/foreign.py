"""Things that are no debris: a hand, a cable, a stain, the machine, a shadow with an edge."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from ..cover.floor import disc
from ..cover.kinds import KindHint
from ..cover.light import FAINTEST, stiff_gain
from ..flags import Flag
from ..grains.find import FoundGrains

Mask = NDArray[np.bool_]

#: Least diameter of what is looked for, mm; and cells across the larger of that and a large grain, so that a grain
#: overlooked and its shade stay smaller than what is told.
LEAST_MM, CELLS = 6.0, 6
#: Change of light, natural logarithm, and how many robust deviations of the floor's own, from which a place is another.
CHANGED, SURE = 0.2, 4.0
#: Area of a changed place over that of a disc of that diameter: patterned floors, shade in heaps and grains overlooked
#: reached 6.5 in 38 rendered runs, while a cable, a hand and a wet spot had 40 to 700.
LARGE = 12.0
#: Depth, as a share of a large grain's diameter, below which grains that touch part into cores; and the area of what
#: stays, in large grains. In heaps after a pass it reached 1.1 where a cable as wide as a grain had 44.
DEEP, SOLID = 0.4, 8.0
#: Length of a thing, in large grains, from which on it is none and no clump of them, if it is no wider than two and
#: stays whole when all is taken off that is nearer to its edge than this share of its half width, where touching grains
#: part.
LONG, WHOLE = 12.0, 0.6


@dataclass(frozen=True, slots=True, eq=False)
class CellViews:
    """Floor views by shot, each of shape (H // cell_px, W // cell_px, 3), averaged over cells."""

    views: dict[str, NDArray[np.float32]]
    cell_px: int


def cell_views(views: Mapping[str, NDArray[np.float32]], hints: Sequence[KindHint], mm_per_px: float) -> CellViews:
    """Average floor views over cells in which a thing can be seen that is foreign.

    Parameters
    ----------
    views : mapping of str to ndarray of float32, each of shape (H, W, 3)
        Floor views in linear light, as photographed.
    hints : sequence of KindHint
    mm_per_px : float
    """
    cell = max(1, int(_least_px(hints, mm_per_px) / CELLS))
    return CellViews({name: _shrunk(view, cell) for name, view in views.items()}, cell)


def _least_px(hints: Sequence[KindHint], mm_per_px: float) -> float:
    """Diameter of the least that is looked for."""
    return max(*(hint.size_px[1] for hint in hints), LEAST_MM / mm_per_px)


def _shrunk(values: NDArray[np.float32], cell: int) -> NDArray[np.float32]:
    height, width = (size // cell for size in values.shape[:2])
    if not height or not width:
        return np.zeros((height, width, *values.shape[2:]), np.float32)
    cut = values[: height * cell, : width * cell]
    return np.asarray(cv2.resize(cut, (width, height), interpolation=cv2.INTER_AREA), np.float32)


def foreign_flags(
    cells: CellViews,
    usable: Mask,
    strewn: Mask,
    found: Mapping[str, FoundGrains],
    hints: Sequence[KindHint],
    mm_per_px: float,
) -> list[Flag]:
    """A flag for every shot that shows a large thing which others do not and which is no debris.

    Parameters
    ----------
    cells : CellViews
    usable, strewn : ndarray of bool, shape (H, W)
        Floor that all shots show, and the patch.
    found : mapping of str to FoundGrains
        Debris of every shot.
    hints : sequence of KindHint
    mm_per_px : float
    """
    large_px = max(hint.size_px[1] for hint in hints)
    flags = []
    debris_of = {n: f.kind_map > 0 for n, f in found.items()}
    changed = changed_places(cells, usable & strewn, debris_of, _least_px(hints, mm_per_px))
    for name, (mask, cell_px) in changed.items():
        if mask.any():
            where, mm2 = _where(mask, strewn, cell_px, mm_per_px)
            flags.append(
                Flag(
                    code="foreign-thing",
                    severity="doubtful",
                    sentence=f"{name} shows a thing, a stain or a shadow of {mm2:.0f} mm² that other shots do not, "
                    f"{where}. What lies under it is not seen: clear it and retake the photo",
                    shot=name,
                )
            )
    if all(hint.outlined for hint in hints):
        before = found["before"].kind_map > 0
        for name, shot in found.items():
            debris = shot.kind_map > 0
            mask = long_things(debris & usable & strewn, large_px)
            if name.startswith("after"):
                mask |= solid_things(debris, before, large_px)
            if mask.any():
                where, mm2 = _where(mask, strewn, 1, mm_per_px)
                flags.append(
                    Flag(
                        code="solid-thing",
                        severity="unfit",
                        sentence=f"{name} shows a thing of the debris' colour, {where}, that is far larger than a "
                        "grain and does not part into grains. It counts as debris: unless it is a heap, take it away "
                        "and retake the photo",
                        shot=name,
                    )
                )
    return flags


def changed_places(
    cells: CellViews, usable: Mask, debris: Mapping[str, Mask], least_px: float
) -> dict[str, tuple[Mask, int]]:
    """Large places that look otherwise in a shot than in the others, and are not taken for debris.

    Parameters
    ----------
    cells : CellViews
    usable : ndarray of bool, shape (H, W)
    debris : mapping of str to ndarray of bool, each of shape (H, W)
    least_px : float
        Diameter of what is looked for.

    Returns
    -------
    dict of str to (ndarray of bool, int)
        By shot, or by the last one alone where there are but two, a mask of cells, and their side in px.

    Notes
    -----
    Shots are held against the median of all of them, in cells, after a smooth surface has matched their light.
    """
    cell, small = cells.cell_px, cells.views
    height, width = (size // cell for size in usable.shape)
    nothing = {name: (np.zeros((height, width), bool), cell) for name in small}
    if not height or not width or len(small) < 2:
        return nothing
    floor = _shrunk(usable.astype(np.float32), cell) > 0.99
    if not floor.any():
        return nothing
    names = list(small)
    reference = small[names[0] if names[0] == "blank" else names[-1]]
    logs = {}
    for name, view in small.items():
        lit = view if view is reference else view * stiff_gain(view, reference, floor)
        logs[name] = np.asarray(cv2.GaussianBlur(np.log(np.maximum(lit, FAINTEST)), (0, 0), 1.0), np.float32)
    usual = logs[names[0]] if len(names) == 2 else np.median(np.stack(list(logs.values())), axis=0)
    near = {
        n: cv2.dilate((_shrunk(d.astype(np.float32), cell) > 0.15).astype(np.uint8), np.ones((3, 3), np.uint8)) > 0
        for n, d in debris.items()
    }
    ever = np.logical_or.reduce(list(near.values()))
    grain = least_px / cell
    result = nothing
    for name in names[1:] if len(names) == 2 else names:
        off = np.abs(logs[name] - usual).max(axis=-1)
        spread = 1.4826 * float(np.median(off[floor]))
        # Of three shots or fewer the median may be debris.
        clear = ~(near[name] if len(names) > 3 else ever)
        mask = ((off > max(CHANGED, SURE * spread)) & floor & clear).astype(np.uint8)
        mask = np.asarray(cv2.morphologyEx(mask, cv2.MORPH_OPEN, disc(max(round(grain / 2), 1))), np.uint8)
        result[name] = _large_parts(mask, LARGE * np.pi / 4 * grain**2), cell
    return result


def solid_things(debris: Mask, before: Mask, grain_px: float) -> Mask:
    """Cores of what does not part into grains and was not there before; masks of shape (H, W), ``grain_px`` large."""
    cores = cv2.erode(debris.astype(np.uint8), disc(max(round(DEEP * grain_px), 1)))
    cores[before] = 0
    return _large_parts(np.asarray(cores, np.uint8), SOLID * np.pi / 4 * grain_px**2)


def long_things(debris: Mask, grain_px: float) -> Mask:
    """What is far longer than a grain, narrow, and does not part into grains: a cable, a straw, the foot of a wall.

    Masks of shape (H, W); ``grain_px`` is the diameter of a large grain.
    """
    _, labels, stats, _ = cv2.connectedComponentsWithStats(debris.astype(np.uint8), connectivity=8)
    result = np.zeros_like(debris)
    longest = np.hypot(stats[:, cv2.CC_STAT_WIDTH], stats[:, cv2.CC_STAT_HEIGHT])
    for number in 1 + np.flatnonzero(longest[1:] >= LONG * grain_px):
        left, top, width, height = (int(v) for v in stats[number, :4])
        box = np.s_[top : top + height, left : left + width]
        thing = labels[box] == number
        inside = cv2.distanceTransform(np.pad(thing, 1).astype(np.uint8), cv2.DIST_L2, 5)[1:-1, 1:-1]
        half_width = float(np.percentile(inside[thing], 95))
        _, _, cores, _ = cv2.connectedComponentsWithStats(
            (inside > WHOLE * half_width).astype(np.uint8), connectivity=8
        )
        extent = np.hypot(cores[1:, cv2.CC_STAT_WIDTH], cores[1:, cv2.CC_STAT_HEIGHT]).max(initial=0)
        if half_width <= grain_px and extent >= LONG * grain_px:
            result[box] |= thing
    return result


def _large_parts(mask: NDArray[np.uint8], least_px: float) -> Mask:
    _, labels, stats, _ = cv2.connectedComponentsWithStats(mask, connectivity=8)
    keep = stats[:, cv2.CC_STAT_AREA] >= least_px
    keep[0] = False
    return np.asarray(keep[labels])


def _where(mask: Mask, strewn: Mask, cell_px: int, mm_per_px: float) -> tuple[str, float]:
    """Where the largest part of a mask of cells lies on the patch, in words, and the area of all in mm²."""
    _, labels, stats, _ = cv2.connectedComponentsWithStats(mask.astype(np.uint8), connectivity=8)
    rows, columns = np.nonzero(labels == 1 + int(np.argmax(stats[1:, cv2.CC_STAT_AREA])))
    top, left = int(np.argmax(strewn.any(axis=1))), int(np.argmax(strewn.any(axis=0)))
    right, down = (
        mm_per_px * (cell_px * (float(np.median(v)) + 0.5) - first) for v, first in ((columns, left), (rows, top))
    )
    area = float(mask.sum()) * (cell_px * mm_per_px) ** 2
    return f"about {right:.0f} mm right and {down:.0f} mm down from the patch's top left corner", area
