"""Things that are no debris: a hand, a cable, a stain, the machine, a shadow with an edge."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from ..arrays import Floats, Mask
from ..cover.floor import disc
from ..cover.kinds import KindHint
from ..cover.light import FAINTEST, stiff_gain
from ..cover.maps import CoverMaps
from ..cover.membership import KIND_SD, colour_places
from ..flags import Flag
from ..grains.find import FoundGrains
from ..stats.robust import robust_sd

#: Spreads within a kind up to which debris has its colour; what was taken for debris and has another may be a thing.
NEAR = 3.0
#: Shares of a pixel that debris covers, for the colours between.
MIXTURES = (0.25, 0.5, 0.75, 1.0)
#: Least diameter of what is looked for, mm; and cells across the larger of that and a large grain, so that a grain
#: overlooked and its shade stay smaller than what is told.
LEAST_MM, CELLS = 6.0, 6
#: Change of light, natural logarithm, and how many robust deviations of the floor's own, from which a place is another.
CHANGED, SURE = 0.2, 4.0
#: Area of a changed place over that of a disc of that diameter: patterned floors, shade in heaps and grains overlooked
#: reached 6.5 in 38 rendered runs, while a cable, a hand and a wet spot had 40 to 700.
LARGE = 12.0
#: How far a thing is bridged over debris that lies on it or is made of it, in large grains: clumps are rarely wider.
BRIDGED = 3.0
#: Depth, as a share of a large grain's diameter, below which grains that touch part into cores; and the area of what
#: stays, in large grains. In heaps after a pass it reached 1.1 where a cable as wide as a grain had 44.
DEEP, SOLID = 0.4, 8.0
#: Length of a thing, in large grains, from which on it is none and no clump of them, if it is no wider than two and
#: stays whole when all is taken off that is nearer to its edge than this share of its half width, where touching grains
#: part.
LONG, WHOLE = 12.0, 0.6
#: What becomes of its place, and what to do.
LEFT_OUT = "Its place is left out of the sums of all shots: clear it and retake the photo"
UNLESS_HEAP = "Its place is left out of the sums of all shots: unless it is a heap, take it away and retake the photo"


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
    return CellViews({name: _averaged(view, cell) for name, view in views.items()}, cell)


def _least_px(hints: Sequence[KindHint], mm_per_px: float) -> float:
    """Diameter of the least that is looked for."""
    return max(*(hint.size_px[1] for hint in hints), LEAST_MM / mm_per_px)


def _averaged(values: NDArray[np.float32], cell: int) -> NDArray[np.float32]:
    height, width = (size // cell for size in values.shape[:2])
    if not height or not width:
        return np.zeros((height, width, *values.shape[2:]), np.float32)
    cut = values[: height * cell, : width * cell]
    return np.asarray(cv2.resize(cut, (width, height), interpolation=cv2.INTER_AREA), np.float32)


@dataclass(frozen=True, slots=True, eq=False)
class ForeignThing:
    """What one shot shows that is no debris: ``mask``, (H, W), its place and rim, and what to say of it."""

    mask: Mask
    flag: Flag


def foreign_things(
    views: CellViews,
    maps: CoverMaps,
    usable: Mask,
    strewn: Mask,
    found: Mapping[str, FoundGrains],
    hints: Sequence[KindHint],
    mm_per_px: float,
) -> list[ForeignThing]:
    """Every large thing that one shot shows and others do not, and which is no debris.

    Parameters
    ----------
    views : CellViews
    maps : CoverMaps
        Floor views in one light, the floor and the kinds' colours.
    usable, strewn : ndarray of bool, shape (H, W)
        Floor that all shots show, and the patch.
    found : mapping of str to FoundGrains
        Debris of every shot.
    hints : sequence of KindHint
    mm_per_px : float
    """
    large_px = max(hint.size_px[1] for hint in hints)
    means = [c.mean for c in maps.colours if c.samples]
    coloured = {n: of_kind_colour(maps.matched[n], maps.floor, means, f.kind_map > 0) for n, f in found.items()}
    changed = changed_places(views, usable, coloured, _least_px(hints, mm_per_px))
    things = []
    for name, (cells, cell_px) in changed.items():
        if cells.any():
            where, mm2 = _where(cells, strewn, cell_px, mm_per_px)
            what = f"a thing, stain or shadow of {mm2 / 100:.2g} cm², which no other shot shows, lies {where}"
            flag = Flag(code="foreign-thing", severity="doubtful", shot=name, sentence=f"{what}. {LEFT_OUT}")
            things.append(ForeignThing(_with_rim(_full_size(cells, cell_px, usable.shape), large_px), flag))
    outlined = [k + 1 for k, hint in enumerate(hints) if hint.outlined]
    coarse = {n: np.isin(f.kind_map, outlined) for n, f in found.items() if n != "blank"}
    for name, debris in coarse.items():
        told = [thing.mask for thing in things if thing.flag.shot == name]
        mask = debris & ~np.logical_or.reduce([~usable, *told])
        solid = long_things(mask, large_px)
        if name.startswith("after"):
            solid |= _whole(mask, solid_things(mask, coarse["before"], large_px))
        if solid.any():
            where, _ = _where(solid, strewn, 1, mm_per_px)
            what = f"a thing of the debris' colour and far larger than a grain lies {where}"
            flag = Flag(code="solid-thing", severity="doubtful", shot=name, sentence=f"{what}. {UNLESS_HEAP}")
            things.append(ForeignThing(_with_rim(solid, large_px), flag))
    return things


def of_kind_colour(
    view: NDArray[np.float32], floor: NDArray[np.float32], colours: Sequence[Floats], where: Mask
) -> Mask:
    """Where a view has the colour of a kind, or one between that and the floor's, as fine grains and rims have.

    ``view`` and ``floor`` have shape (H, W, 3), ``colours`` shape (3,) each; ``where`` and the result (H, W).
    """
    seen, bare = (np.asarray(cv2.blur(v, (3, 3))[where], float) for v in (view, floor))
    places = colour_places(seen)
    own = np.zeros(len(places), bool)
    for colour in colours:
        for share in MIXTURES:
            z = (places - colour_places(share * np.asarray(colour) + (1 - share) * bare)) / KIND_SD
            own |= (z**2).sum(axis=1) < NEAR**2
    result = np.zeros_like(where)
    result[where] = own
    return result


def changed_places(
    views: CellViews, usable: Mask, debris: Mapping[str, Mask], least_px: float
) -> dict[str, tuple[Mask, int]]:
    """Large places that look otherwise in a shot than in the others, and are not taken for debris.

    Parameters
    ----------
    views : CellViews
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
    cell, small = views.cell_px, views.views
    height, width = (size // cell for size in usable.shape)
    nothing = {name: (np.zeros((height, width), bool), cell) for name in small}
    if not height or not width or len(small) < 2:
        return nothing
    floor = _averaged(usable.astype(np.float32), cell) > 0.99
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
        n: cv2.dilate((_averaged(d.astype(np.float32), cell) > 0.15).astype(np.uint8), np.ones((3, 3), np.uint8)) > 0
        for n, d in debris.items()
    }
    ever = np.logical_or.reduce(list(near.values()))
    grain = least_px / cell
    result = nothing
    for name in names[1:] if len(names) == 2 else names:
        off = np.abs(logs[name] - usual).max(axis=-1)
        spread = robust_sd(off[floor], 0.0)
        # Of three shots or fewer the median may be debris.
        clear = ~(near[name] if len(names) > 3 else ever)
        other = (off > max(CHANGED, SURE * spread)) & floor
        mask = (other & clear).astype(np.uint8)
        mask = np.asarray(cv2.morphologyEx(mask, cv2.MORPH_OPEN, disc(max(round(grain / 2), 1))), np.uint8)
        large = _large_parts(mask, LARGE * np.pi / 4 * grain**2)
        if large.any():  # what of it lies under debris, is taken for debris or stands beside such
            if names[0] == "blank" != name:  # where debris of *before* is dark, a dark thing may be the median
                off = np.maximum(off, np.abs(logs[name] - logs["blank"]).max(axis=-1))
                other = (off > max(CHANGED, SURE * spread)) & floor
            wide = cv2.morphologyEx(other.astype(np.uint8), cv2.MORPH_OPEN, disc(round(grain)))
            large |= (_closed(large, BRIDGED * grain) & other) | _whole(wide > 0, large)
        result[name] = large, cell
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


def _closed(mask: Mask, reach: float) -> Mask:
    """A mask with gaps and bays narrower than twice ``reach`` filled."""
    if not mask.any():
        return mask
    edge = round(reach)
    padded = cv2.copyMakeBorder(mask.astype(np.uint8), edge, edge, edge, edge, cv2.BORDER_CONSTANT, value=0)
    closed = cv2.morphologyEx(padded, cv2.MORPH_CLOSE, disc(edge))
    return np.asarray(closed[edge:-edge, edge:-edge] > 0)


def _whole(mask: Mask, cores: Mask) -> Mask:
    """The parts of a mask that hold a core."""
    _, labels = cv2.connectedComponents(mask.astype(np.uint8))
    chosen = np.unique(labels[cores & mask])
    return np.asarray(np.isin(labels, chosen[chosen > 0]))


def _full_size(cells: Mask, cell_px: int, shape: tuple[int, ...]) -> Mask:
    """A mask of cells as one of pixels; cells cut off at the far border are those beside them."""
    rows, columns = (np.minimum(np.arange(n) // cell_px, m - 1) for n, m in zip(shape, cells.shape, strict=True))
    return np.asarray(cells[rows[:, None], columns])


def _with_rim(mask: Mask, grain_px: float) -> Mask:
    """A mask with what touches it and its shade: a large grain's diameter all round."""
    return np.asarray(cv2.dilate(mask.astype(np.uint8), disc(round(grain_px))) > 0)


def _large_parts(mask: NDArray[np.uint8], least_px: float) -> Mask:
    _, labels, stats, _ = cv2.connectedComponentsWithStats(mask, connectivity=8)
    keep = stats[:, cv2.CC_STAT_AREA] >= least_px
    keep[0] = False
    return np.asarray(keep[labels])


def _where(mask: Mask, strewn: Mask, cell_px: int, mm_per_px: float) -> tuple[str, float]:
    """Where the largest part of a mask of cells lies on the patch, in words, and the area of all in mm²."""
    area = float(mask.sum()) * (cell_px * mm_per_px) ** 2
    on_patch = mask & _shrunk(strewn, mask.shape, cell_px)
    if not on_patch.any():
        return "in the margin", area
    _, labels, stats, _ = cv2.connectedComponentsWithStats(on_patch.astype(np.uint8), connectivity=8)
    rows, columns = np.nonzero(labels == 1 + int(np.argmax(stats[1:, cv2.CC_STAT_AREA])))
    top, left = int(np.argmax(strewn.any(axis=1))), int(np.argmax(strewn.any(axis=0)))
    right, down = (
        mm_per_px * (cell_px * (float(np.median(v)) + 0.5) - first) for v, first in ((columns, left), (rows, top))
    )
    return f"about {right:.0f} mm right and {down:.0f} mm down from the top left corner", area


def _shrunk(mask: Mask, shape: tuple[int, ...], cell_px: int) -> Mask:
    """A mask of pixels as one of cells, each what its middle is."""
    rows, columns = (np.arange(n) * cell_px + cell_px // 2 for n in shape)
    return np.asarray(mask[rows[:, None], columns])
