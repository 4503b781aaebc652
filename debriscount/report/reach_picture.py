"""Map of where the machine acted, over a pale floor view."""

from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from ..arrays import Floats, Mask
from ..inputs.patch import Patch
from ..leftovers.records import Reach
from ..leftovers.wording import share_text
from ..registration.grid import FloorGrid
from ..run.records import MeasuredShot, Measurement
from .borders import draw_borders
from .canvas import Canvas, floor_canvas
from .caption import Caption, LegendEntry, Painter, draw_caption
from .lookup import why_of
from .palette import DARK, LIGHT, OKABE_ITO, Color
from .pictures import border_entries, shot_note, shot_title
from .unreached import brought_entry, brought_mm, draw_outlines, label_unreached, labels_say, outlines_mm

#: Not reached and reached: apart to every kind of eye, and light enough for dark lines.
NEVER, REACHED = OKABE_ITO[5], OKABE_ITO[1]
_TINT = 0.6
_LEAST_LINES = 4.0  # area of the smallest place shown, in squares as high as the type
_MOST_LABELS = 8  # places that bear their share, those with most debris; the text lists as many
_FLOOR = (0.45, 228.0)  # the floor's contrast that remains, and its middle grey
_PALE: Color = (230, 230, 226)
_BEFORE: Color = OKABE_ITO[4]
_DARK: Color = (60, 50, 45)
_STROKES: tuple[Color, Color] = (DARK, LIGHT)


def draw_reach(shot: MeasuredShot, measurement: Measurement) -> NDArray[np.uint8]:
    """Draw where the machine acted in the pass before a shot.

    Parameters
    ----------
    shot : MeasuredShot
        A shot after a pass whose reach was told.
    measurement : Measurement
        The run that it belongs to.

    Returns
    -------
    ndarray of uint8, shape (H, W, 3)
        sRGB: the floor view made pale, at most 1600 px wide, in three flat tints: hatched where the machine more likely
        than not never was, plain where it was, dotted where that cannot be told. Places of any of them that are smaller
        than a label's line is high are given to what lies around them. Below it the caption, whose title is the share
        that was reached.

    Raises
    ------
    ValueError
        Nothing is known of the pass's reach.
    """
    why = why_of(shot, measurement)
    if why is None or why.reach is None:
        raise ValueError(f"{shot.name!r} has no reach to draw")
    reach = why.reach
    canvas = floor_canvas(shot, measurement)
    _make_pale(canvas.image)
    reached, told, inside = _on_canvas(reach, canvas.grid, measurement.patch)
    outlines = outlines_mm(why, measurement.patch)
    strips = _within(outlines, canvas) & inside
    # The whole strip says more of a place in it than the few grains near by.
    never = _without_specks((told & (reached < 0.5)) | strips, canvas.size) | strips
    unknown = _without_specks(inside & ~told & ~never, canvas.size) & inside & ~never
    _paint(canvas.image, never, unknown, inside, canvas.size)
    draw_borders(canvas.image, measurement.patch, canvas.grid, canvas.unit, _STROKES)
    before = _missed_before(shot, measurement)
    draw_outlines(canvas, before, _BEFORE)
    strips_told = 0 if why.lanes is None else len(why.lanes.strips)
    label_unreached(canvas, [*outlines[: strips_told + _MOST_LABELS], *before], never)

    says = labels_say(outlines)
    legend = [
        LegendEntry("reached", _tint_sample(False, False, canvas.size)),
        LegendEntry(f"not reached{says and f': {says}'}", _tint_sample(True, False, canvas.size)),
    ]
    if unknown.any():
        legend.append(
            LegendEntry("cannot be told: too little debris lay there", _tint_sample(False, True, canvas.size))
        )
    if before:
        legend.append(brought_entry(REACHED, _BEFORE))
    legend += border_entries(canvas.unit, _PALE, measurement.patch)
    reached_words, taken_words = _answers(reach)
    doubt = f"Doubtful: {reach.why}. " if reach.trust != "sound" and reach.why else ""
    unseen = ""
    if why.lanes is None and reach.spacing_mm is not None:
        unseen = f"Strips narrower than {reach.spacing_mm:.0f} mm may go unseen. "
    caption = Caption(
        reached_words,
        f"{doubt}{taken_words}{unseen}Where the machine acted \N{EN DASH} {shot_title(shot, measurement)}",
        tuple(legend),
        shot_note(shot, measurement),
    )
    return np.vstack([canvas.image, draw_caption(caption, canvas.grid.width_px, canvas.grid.mm_per_px, canvas.size)])


def _missed_before(shot: MeasuredShot, measurement: Measurement) -> list[tuple[Floats, str]]:
    """Outlines of what the pass before had missed, with what this one took there; none for the first."""
    left = measurement.left
    number = next((k for k, why in enumerate(left.passes) if why is not None and why is why_of(shot, measurement)), 0)
    before = left.passes[number - 1] if number else None
    return [] if before is None else brought_mm(before, left.steps[number])


def _make_pale(image: NDArray[np.uint8]) -> None:
    """Turn a floor view to faint light grey, in place: any floor looks alike below the tint, yet is recognised."""
    grey = cv2.cvtColor(image, cv2.COLOR_RGB2GRAY).astype(np.float32)
    share, level = _FLOOR
    faint = np.clip((grey - float(np.median(grey))) * share + level, 0, 255)
    image[...] = np.rint(faint)[..., None]


def _on_canvas(reach: Reach, grid: FloorGrid, patch: Patch) -> tuple[NDArray[np.float32], Mask, Mask]:
    """Chance that each of the canvas' pixels was reached, where it is told, and which pixels lie in the patch."""
    known = np.isfinite(reach.map)
    scale = grid.mm_per_px / reach.grid.mm_per_px
    shift_x, shift_y = reach.grid.to_px(np.array([[grid.x0_mm, grid.y0_mm]]))[0].tolist()
    to_map = np.array([[scale, 0, shift_x], [0, scale, shift_y]])
    size = (grid.width_px, grid.height_px)

    def onto(values: NDArray[np.float32], how: int) -> NDArray[np.float32]:
        flags = how | cv2.WARP_INVERSE_MAP
        return np.asarray(
            cv2.warpAffine(values, to_map, size, flags=flags, borderMode=cv2.BORDER_REPLICATE), np.float32
        )

    # Weighted by what is known, so that nothing leaks in from where it cannot be told.
    weight = onto(known.astype(np.float32), cv2.INTER_LINEAR)
    value = onto(np.where(known, reach.map, 0).astype(np.float32), cv2.INTER_LINEAR)
    x, y = grid.x_mm(), grid.y_mm()
    inside = ((y >= 0) & (y < patch.height_mm))[:, None] & ((x >= 0) & (x < patch.width_mm))
    told = (weight >= 0.5) & inside
    return np.where(told, value / np.maximum(weight, 0.5), np.nan).astype(np.float32), told, inside


def _within(outlines: Sequence[tuple[Floats, str]], canvas: Canvas) -> Mask:
    """Pixels of the canvas within outlines, mm."""
    filled = np.zeros(canvas.image.shape[:2], np.uint8)
    for corners, _ in outlines:
        cv2.fillPoly(filled, [np.rint(canvas.to_px(corners)).astype(np.int32)], (1,))
    return filled > 0


def _without_specks(mask: Mask, size: int) -> Mask:
    """A mask without places and holes smaller than a square of that side, px, and with its outline as smooth."""
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (size // 2 * 2 + 1,) * 2)
    smooth = mask.astype(np.uint8)
    for how in (cv2.MORPH_CLOSE, cv2.MORPH_OPEN):
        smooth = np.asarray(cv2.morphologyEx(smooth, how, disc, borderType=cv2.BORDER_REFLECT), np.uint8)
    _, labels, found, _ = cv2.connectedComponentsWithStats(smooth)
    large = found[:, cv2.CC_STAT_AREA] >= _LEAST_LINES * size**2
    large[0] = False
    return np.asarray(large[labels])


def _paint(image: NDArray[np.uint8], never: Mask, unknown: Mask, inside: Mask, size: int) -> None:
    """Tint, hatch and dot a pale picture, in place, with a line round what was not reached."""
    tint = np.where(never[..., None], np.array(NEVER, np.uint8), np.array(REACHED, np.uint8))
    mixed = np.asarray(cv2.addWeighted(tint, _TINT, image, 1 - _TINT, 0), np.uint8)
    cv2.copyTo(mixed, (inside & ~unknown).astype(np.uint8), image)
    hatch, dots = _patterns(image.shape[:2], size)
    image[never & hatch] = _DARK
    image[unknown & dots] = (90, 90, 90)
    edges, _ = cv2.findContours(never.astype(np.uint8), cv2.RETR_LIST, cv2.CHAIN_APPROX_NONE)
    cv2.drawContours(image, edges, -1, _DARK, 2)


def _patterns(shape: tuple[int, ...], size: int) -> tuple[Mask, Mask]:
    """Diagonal lines and staggered dots."""
    step = max(6, size // 2)
    row, column = np.ogrid[: shape[0], : shape[1]]
    hatch = (row + column) % step < 2
    odd = (row // step) % 2 * (step // 2)
    dots = ((row % step) < 3) & (((column + odd) % step) < 3)
    return np.asarray(hatch), np.asarray(dots)


def _tint_sample(never: bool, unknown: bool, size: int) -> Painter:
    """Legend sample of one of the three tints."""

    def paint(image: NDArray[np.uint8], left: int, top: int, width: int, height: int) -> None:
        part = np.full((height, width, 3), _PALE, np.uint8)
        all_of_it = np.ones((height, width), bool)
        _paint(part, never & all_of_it, unknown & all_of_it, all_of_it, size)
        image[top : top + height, left : left + width] = part

    return paint


def _answers(reach: Reach) -> tuple[str, str]:
    """The share that was reached, and the pickup there, as sentences."""
    whole = reach.zones.get("patch")
    reached = None if whole is None else share_text(whole.share_percent, whole.interval95)
    if whole is None or reached is None:
        return "How much of the debris was reached cannot be told.", ""
    taken = share_text(whole.pickup_percent, whole.pickup_interval95)
    floor = share_text(reach.floor.share_percent, reach.floor.interval95)
    also = "" if floor is None else f", {floor} of the floor"
    return (
        f"Reached: {reached} of the debris{also}",
        "" if taken is None else f"Picked up of what was reached: {taken}. ",
    )
