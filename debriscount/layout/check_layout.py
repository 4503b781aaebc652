"""Whether a patch can be measured as it is laid out, before anything is printed or taped to the floor."""

from collections.abc import Iterator
from itertools import combinations

import numpy as np

from ..errors import PatchLayoutError
from ..inputs.patch import Marker, Patch
from ..inputs.patch_file import LEAST_MARKERS
from .paper import HALF_PAPER, MODULES, Box, paper_box_mm

#: What a tape cannot tell, mm; places are rounded to tenths.
_HAIR_MM = 0.1
#: How far a millimetre of tape error at the squares may move a corner of the patch, mm: at five, the border of
#: the usual edge strip of 30 mm is off by a sixth of its width.
MOST_SWAY = 5.0
#: Least pixels to a module, if the camera looked straight down. Simulated photos of 2, 8 and 24 megapixels, plain and
#: tilted by 20 degrees: corners were off by 0.9 px at most with modules of 3 px, by 0.4 with 4 px, and from 5 px on by
#: 0.2 px, as of large squares. One more for shake and missed focus, which those photos lack.
LEAST_MODULE_PX = 6.0
#: Share of the photo that a person who holds the camera leaves free around what must be seen.
_FREE = 0.1
#: A phone's usual photo; of the formats in use 4:3 is the most common (common practice, no source).
USUAL_MEGAPIXELS = 12.0
_FORMAT = 4 / 3
#: Faults told in one message.
_MOST_TOLD = 4


def check_layout(patch: Patch, megapixels: float | None = USUAL_MEGAPIXELS) -> None:
    """Refuse a layout that cannot work.

    Parameters
    ----------
    patch : Patch
        Made by `lay_patch` or written by hand.
    megapixels : float or None
        Of the photos; None to leave out whether the squares can be read.

    Raises
    ------
    PatchLayoutError
        With what `layout_faults` finds, the first few where it is much.
    """
    faults = layout_faults(patch, megapixels)
    if faults:
        more = f" And {len(faults) - _MOST_TOLD} more faults." if len(faults) > _MOST_TOLD else ""
        raise PatchLayoutError(" ".join(faults[:_MOST_TOLD]) + more)


def layout_faults(patch: Patch, megapixels: float | None = USUAL_MEGAPIXELS) -> tuple[str, ...]:
    """Say what is wrong with where a patch's squares are to lie, and what to do.

    Parameters
    ----------
    patch : Patch
        Its squares with their paper as `debriscount.layout.paper` has it.
    megapixels : float or None
        Of the photos; None to leave out whether the squares can be read.

    Returns
    -------
    tuple of str
        Whole sentences, one or two for each fault; empty for a sound layout.
    """
    faults = [*_number_faults(patch), *_place_faults(patch), *_overlap_faults(patch)]
    if len(patch.markers) >= LEAST_MARKERS:
        faults += _sway_faults(patch)
    if megapixels is not None and patch.markers:
        faults += _size_faults(patch, megapixels)
    return tuple(faults)


def sway(patch: Patch) -> float:
    """How far a millimetre of tape error moves the corner of the patch that it moves most, mm.

    Returns
    -------
    float
        Infinite where all markers lie on one line.

    Notes
    -----
    The centres fix the floor's scale and slant, an affine map: least squares carries independent errors of 1 mm in
    the centres to a place p as √h, where h = (1, p) (XᵀX)⁻¹ (1, p)ᵀ is its leverage [1]_ and X has a row (1, x, y) for
    each marker.

    References
    ----------
    .. [1] D. C. Hoaglin and R. E. Welsch, The hat matrix in regression and ANOVA, Am. Stat. 32 (1978) 17-22.
    """
    centers = np.array([marker.center_mm for marker in patch.markers])
    middle = centers.mean(axis=0)
    unit = max(float(np.ptp(centers, axis=0).max()), 1e-9)
    rows = np.column_stack([np.ones(len(centers)), (centers - middle) / unit])
    if np.linalg.svd(rows, compute_uv=False)[-1] < 1e-6:
        return float("inf")
    w, h = patch.width_mm, patch.height_mm
    corners = (np.array([[0, 0], [w, 0], [w, h], [0, h]]) - middle) / unit
    places = np.column_stack([np.ones(4), corners])
    leverage = np.einsum("ij,jk,ik->i", places, np.linalg.inv(rows.T @ rows), places)
    return float(np.sqrt(leverage.max()))


def module_px(patch: Patch, megapixels: float) -> dict[int, float]:
    """Pixels to a module of each square, by its number, in a 4:3 photo that shows patch, margin and all papers."""
    left, top, right, bottom = _seen_box_mm(patch)
    long, short = sorted((right - left, bottom - top), reverse=True)
    scale = (1 - _FREE) * min(_long_px(megapixels) / long, _long_px(megapixels) / _FORMAT / short)
    return {marker.id: marker.side_mm / MODULES * scale for marker in patch.markers}


def least_side_mm(bare_mm: tuple[float, float], megapixels: float = USUAL_MEGAPIXELS) -> float:
    """Side of the smallest square that can be read where papers lie on both sides of what else must be seen, mm.

    Parameters
    ----------
    bare_mm : tuple of float
        Width and height of what a photo must show, without the papers.
    megapixels : float
        Of the photo.

    Returns
    -------
    float
        Infinite where the papers would take up the photo.
    """
    long, short = sorted(bare_mm, reverse=True)
    need = MODULES * LEAST_MODULE_PX
    sides = []
    for span, px in ((long, _long_px(megapixels)), (short, _long_px(megapixels) / _FORMAT)):
        spare = (1 - _FREE) * px - need * 4 * HALF_PAPER
        sides.append(need * span / spare if spare > 0 else float("inf"))
    return max(sides)


def _long_px(megapixels: float) -> float:
    return float(np.sqrt(megapixels * 1e6 * _FORMAT))


def _seen_box_mm(patch: Patch) -> Box:
    boxes = np.array([patch.outer_box_mm(), *(paper_box_mm(marker) for marker in patch.markers)])
    left, top = boxes[:, :2].min(axis=0)
    right, bottom = boxes[:, 2:].max(axis=0)
    return float(left), float(top), float(right), float(bottom)


def _named(marker: Marker) -> str:
    x, y = marker.center_mm
    return f"marker {marker.id} at [{x:g}, {y:g}]"


def _number_faults(patch: Patch) -> Iterator[str]:
    ids = [marker.id for marker in patch.markers]
    if len(ids) < LEAST_MARKERS:
        yield f"the layout has {len(ids)} of at least {LEAST_MARKERS} markers. Lay three or more around the patch."
    for number in sorted({number for number in ids if ids.count(number) > 1}):
        yield f"marker {number} is laid twice. Give each square a number of its own."


def _place_faults(patch: Patch) -> Iterator[str]:
    w, h = patch.width_mm, patch.height_mm
    for marker in patch.markers:
        left, top, right, bottom = paper_box_mm(marker)
        x, y = marker.center_mm
        beyond = {"left": (-x, -left), "right": (x - w, right - w), "top": (-y, -top), "bottom": (y - h, bottom - h)}
        for wall in patch.walls:
            center_mm, paper_mm = beyond[wall]
            if center_mm >= 0:
                yield f'{_named(marker)} lies behind the wall "{wall}". Lay it on the floor before it.'
            elif paper_mm > _HAIR_MM:
                yield (
                    f'{_named(marker)}: its paper reaches {paper_mm:.1f} mm beyond the wall "{wall}".'
                    " Lay it farther from the wall."
                )
        for hidden, box, advice in (
            ("patch", (0.0, 0.0, w, h), ""),
            ("margin", patch.outer_box_mm(), ", or give a narrower margin_mm"),
        ):
            depth_mm = _overlap_mm(paper_box_mm(marker), box)
            if depth_mm > _HAIR_MM and not _is_no_floor(patch, paper_box_mm(marker)):
                yield (
                    f"{_named(marker)}: its paper hides floor of the {hidden}."
                    f" Lay it at least {depth_mm:.1f} mm farther out{advice}."
                )
                break


def _is_no_floor(patch: Patch, box: Box) -> bool:
    """Whether the patch file says of all of a box that it is no floor."""
    x, y = (np.linspace(box[axis] + _HAIR_MM, box[axis + 2] - _HAIR_MM, 5) for axis in (0, 1))
    return not patch.is_floor(x[None, :], y[:, None]).any()


def _overlap_mm(a: Box, b: Box) -> float:
    """How far one box must be moved to clear the other; 0 or less where it does already."""
    return min(a[2] - b[0], b[2] - a[0], a[3] - b[1], b[3] - a[1])


def _overlap_faults(patch: Patch) -> Iterator[str]:
    for a, b in combinations(patch.markers, 2):
        if _overlap_mm(paper_box_mm(a), paper_box_mm(b)) > _HAIR_MM:
            yield f"the papers of markers {a.id} and {b.id} overlap. Lay them farther apart, or take smaller squares."


def _sway_faults(patch: Patch) -> Iterator[str]:
    moved = sway(patch)
    if np.isinf(moved):
        yield "all markers lie on one line, which does not fix the floor's tilt. Lay at least one to the side."
    elif moved > MOST_SWAY:
        yield (
            "the markers lie too nearly on one line, or too far to one side of the patch: a millimetre of tape error at"
            f" them moves a corner of the patch by {moved:.1f} mm; {MOST_SWAY:g} mm is the limit."
            " Lay at least one marker farther to the side."
        )


def _size_faults(patch: Patch, megapixels: float) -> Iterator[str]:
    seen = module_px(patch, megapixels)
    left, top, right, bottom = _seen_box_mm(patch)
    for side in sorted({marker.side_mm for marker in patch.markers}):
        ids = [marker.id for marker in patch.markers if marker.side_mm == side]
        if seen[ids[0]] >= LEAST_MODULE_PX:
            continue
        papers = 4 * HALF_PAPER * side
        least = least_side_mm((right - left - papers, bottom - top - papers), megapixels)
        advice = "Take a camera of more megapixels" if np.isinf(least) else f"Take squares of {np.ceil(least):.0f} mm"
        yield (
            f"marker{'s' * (len(ids) > 1)} {', '.join(map(str, ids))}: a square of {side:g} mm is too small to be read:"
            f" in a photo of {megapixels:g} megapixels that shows everything, each of its modules, a sixth of the side,"
            f" is {seen[ids[0]]:.1f} px wide; it must be {LEAST_MODULE_PX:g} px at least. {advice}, or a smaller patch."
        )
