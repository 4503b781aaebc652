"""Outlines and labels of what the machine never reached: strips between lanes with their widths, other places."""

from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from ..arrays import Floats, Mask
from ..inputs.patch import Patch
from ..leftovers.reach.missed import strip_outline
from ..leftovers.records import PassStep, WhyLeft, middle_mm
from ..leftovers.wording import share_text
from .canvas import SHIFT, Canvas, fixed
from .caption import LegendEntry
from .labels import draw_label, label_size, window_mean
from .palette import Color, contrasting

_MM = " mm"  # what labels of strips end in
_TAKEN = " % taken"  # what those of places end in that the pass before had missed
_LEAST_BROUGHT = 1.0  # percent
_TOOTH_EVERY, _TOOTH = 0.9, 0.3  # of the font's size: distance and length of the teeth inside an outline


def outlines_mm(why: WhyLeft, patch: Patch) -> list[tuple[Floats, str]]:
    """Outlines of strips and places that were not reached, each with its label.

    Parameters
    ----------
    why : WhyLeft
        What is said of a pass.
    patch : Patch
        Strips end at its borders.

    Returns
    -------
    list of (ndarray of shape (N, 2), str)
        Corners, mm, and the strip's width or the place's share of the leftovers. A missed strip is left out where the
        lanes say the same, and a place in which nothing is left.
    """
    found = []
    for strip in () if why.lanes is None else why.lanes.strips:
        corners = strip_outline(strip, patch)
        if len(corners) > 2:
            found.append((corners, f"{strip.width_mm:.0f}{_MM}"))
    for place in why.missed:
        share = share_text(place.share_percent)
        if place.share_percent > 0 and share is not None and (place.what != "strip" or why.lanes is None):
            found.append((np.array(place.polygon_mm, float), share.replace("less than", "<").replace("more than", ">")))
    return found


def brought_mm(before: WhyLeft, step: PassStep) -> list[tuple[Floats, str]]:
    """Outlines of the places that the pass before had missed, each with how much of what lay there this pass took.

    Places from which it took less than a hundredth of all that it took are left out.
    """
    taken = {part.around_mm: part for part in step.brought if part.what == "missed"}
    found = []
    for place in before.missed:
        corners = np.array(place.polygon_mm, float)
        part = taken.get(middle_mm(place))
        if part is not None and part.share_percent >= _LEAST_BROUGHT:
            found.append((corners, f"{part.taken_percent:.0f}{_TAKEN}"))
    return found


def draw_outlines(canvas: Canvas, outlines: Sequence[tuple[Floats, str]], color: Color) -> None:
    """Draw outlines as plain lines, in place."""
    height, width = canvas.image.shape[:2]
    for corners, _ in outlines:
        line = [fixed(_within(canvas.to_px(corners), width, height))]
        cv2.polylines(canvas.image, line, True, color, 3, cv2.LINE_AA, SHIFT)


def brought_entry(floor: Color, color: Color) -> LegendEntry:
    """Legend entry of such outlines."""

    def paint(image: NDArray[np.uint8], left: int, top: int, width: int, height: int) -> None:
        image[top : top + height, left : left + width] = floor
        cv2.rectangle(image, (left + 3, top + 3), (left + width - 4, top + height - 4), color, 3)

    return LegendEntry(f"missed by the pass before: how much of it was{_TAKEN.replace(' %', '')}", paint)


def draw_unreached(
    canvas: Canvas, outlines: Sequence[tuple[Floats, str]], taken: Mask, colors: tuple[Color, Color]
) -> None:
    """Draw outlines with teeth towards their inside, and a label beside each; in place.

    Parameters
    ----------
    canvas : Canvas
        Where to draw.
    outlines : sequence of (ndarray of shape (N, 2), str)
        As `outlines_mm` gives them.
    taken : ndarray of bool, shape (H, W)
        Where debris lies, over which no label is put if there is room elsewhere.
    colors : (colour, colour)
        Of the outlines' core and rim; one dark, one light.
    """
    height, width = canvas.image.shape[:2]
    shapes = [_within(canvas.to_px(corners), width, height) for corners, _ in outlines]
    for extra in (2, 0):
        for corners in shapes:
            _draw(canvas.image, corners, canvas.size, colors[extra > 0], 2 + extra)
    label_unreached(canvas, outlines, taken)


def label_unreached(canvas: Canvas, outlines: Sequence[tuple[Floats, str]], taken: Mask) -> None:
    """Write the labels alone; parameters as for `draw_unreached`."""
    height, width = canvas.image.shape[:2]
    busy = taken.astype(np.uint8)
    shapes = [_within(canvas.to_px(corners), width, height) for corners, _ in outlines]
    for corners in shapes:
        cv2.polylines(busy, [np.rint(corners).astype(np.int32)], True, (2,), 3)
    for corners, (_, text) in zip(shapes, outlines, strict=True):
        _label(canvas, corners, text, busy)


def labels_say(outlines: Sequence[tuple[Floats, str]]) -> str:
    """What the labels are that outlines bear."""
    widths = any(label.endswith(_MM) for _, label in outlines)
    shares = any(not label.endswith((_MM, _TAKEN)) for _, label in outlines)
    says = ["width of a strip"] if widths else []
    if shares:
        says.append("share of the leftovers" if not widths else "elsewhere share of the leftovers")
    return ", ".join(says)


def unreached_entry(outlines: Sequence[tuple[Floats, str]], floor: Color, size: int) -> LegendEntry:
    """Legend entry of outlines, which says what their labels are."""

    def paint(image: NDArray[np.uint8], left: int, top: int, width: int, height: int) -> None:
        image[top : top + height, left : left + width] = floor
        box = np.array([[0.1, 0.15], [0.9, 0.15], [0.9, 0.85], [0.1, 0.85]]) * (width, height) + (left, top)
        for extra in (2, 0):
            _draw(image, box, round(0.7 * size), contrasting(floor)[extra > 0], 2 + extra)

    return LegendEntry(f"never reached: {labels_say(outlines)}", paint)


def _draw(image: NDArray[np.uint8], corners: Floats, size: int, color: Color, width: int) -> None:
    outline = [fixed(np.vstack([corners, corners[:1]]))]
    cv2.polylines(image, outline, False, color, width, cv2.LINE_AA, SHIFT)
    cv2.polylines(image, list(fixed(_teeth(corners, size))), False, color, width, cv2.LINE_AA, SHIFT)


def _within(corners: Floats, width: int, height: int) -> Floats:
    """Corners moved into the picture, so that an outline at its rim is still seen."""
    return np.clip(corners, 2, (width - 3, height - 3))


def _teeth(corners: Floats, size: int) -> Floats:
    """Short strokes from an outline to its inside, shape (M, 2, 2)."""
    following = np.roll(corners, -1, axis=0)
    x, y = corners.T
    turn = np.sign(np.sum(x * following[:, 1] - following[:, 0] * y)) or 1.0
    teeth = []
    for start, end in zip(corners, following, strict=True):
        side = end - start
        length = float(np.hypot(*side))
        number = int(length / (_TOOTH_EVERY * size))
        if number:
            inwards = turn * np.array([-side[1], side[0]]) / length * _TOOTH * size
            feet = start + side * ((np.arange(number) + 0.5) / number)[:, None]
            teeth.append(np.stack([feet, feet + inwards], axis=1))
    return np.concatenate(teeth) if teeth else np.zeros((0, 2, 2))


def _label(canvas: Canvas, corners: Floats, text: str, busy: NDArray[np.uint8]) -> None:
    """Write a label where it hides fewest grains, lines and other labels: inside the outline or close beside it."""
    size = round(0.85 * canvas.size)
    wide, high = label_size(text, size)
    rows, columns = busy.shape
    if wide >= columns or high >= rows:
        return
    middles, costs = map(np.array, zip(*_label_places(corners, wide, high), strict=True))
    lefts, tops = np.clip(middles - (wide / 2, high / 2), 0, (columns - wide, rows - high)).astype(int).T
    hidden = wide * high * window_mean(busy, wide, high)[tops, lefts]
    best = int(np.argmin(hidden + costs))
    corner = int(lefts[best]), int(tops[best])
    draw_label(canvas.image, text, corner, (wide, high), size)
    cv2.rectangle(busy, corner, (corner[0] + wide, corner[1] + high), (50,), cv2.FILLED)


def _label_places(corners: Floats, wide: int, high: int) -> list[tuple[Floats, float]]:
    """Middles of places for a label beside each side of an outline, the middle of the longest side cheapest."""
    following = np.roll(corners, -1, axis=0)
    middle = corners.mean(axis=0)
    places = []
    for start, end in zip(corners, following, strict=True):
        side = end - start
        length = float(np.hypot(*side))
        if length < wide / 2:
            continue
        normal = np.array([-side[1], side[0]]) / length
        normal *= np.sign((start + side / 2 - middle) @ normal) or 1.0
        off = normal * (abs(normal[0]) * wide / 2 + abs(normal[1]) * high / 2 + 6)
        for t in np.linspace(0.1, 0.9, 17):
            places.append((start + t * side + off, 4 * abs(float(t) - 0.5) * length / (length + wide)))
    if places:
        return places
    # An outline of many short sides: on it, above, below, or to the left or right of the box around it.
    low, high_end = corners.min(axis=0), corners.max(axis=0)
    away = (high_end - low) / 2 + np.array([wide, high]) / 2 + 6
    beside = np.array([[0, -1], [0, 1], [-1, 0], [1, 0]]) * away + (low + high_end) / 2
    return [(middle, 0.0), *((place, 1.0) for place in beside)]
