"""A pinch of grains on paper, photographed from above: what a new kind of debris looks like and how large it is.

A printed square beside the grains gives the scale, and its paper the light.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from ..arrays import Floats, Mask
from ..errors import PhotoUnfitError, PortionError
from ..inputs.debris import DebrisKind
from ..inputs.names import name_fault
from ..markers.find_markers import SeenMarker, find_markers
from ..markers.white import paper_colour
from ..photo.colour import linear_pixels, linear_to_lab, linear_to_srgb
from ..photo.read import Photo

#: How far around the square grains are looked for, in sides of it: beyond, a tilted camera's scale is another.
REACH = 6.0
#: Most pixels of the view from straight above: a square of them holds some thousand grains.
_MOST_PX = 16_000_000
#: Colour differences in CIELAB that are no grain: noise is below, and shade on paper up to about that.
LEAST_DIFFERENCE = 8.0
#: Half the distance from paper to grain is where a grain's edge lies: blur moves as much to one side as to the other.
HALF = 0.5
#: Smallest part that is called a grain, px: less is noise or a crumb whose size nobody can tell.
LEAST_PX = 20
#: Parts below this share of the usual area are no grains: a kind's diameters would have to vary more than fourfold.
SPECK = 1 / 20
#: The square's paper: its side with the quiet zone and room for the label, in sides of the black square.
PAPER_SIDES = 1.75
#: A lone grain covers most of its convex hull, and is not much larger than the usual one.
CONVEX, USUAL = 0.88, (0.5, 1.7)
#: Reflectance of printing paper, as for the hints of debris files (`run.sources`).
_PAPER = 0.85
#: Fewer single grains tell little of the sizes' ends.
FEW = 30
#: Resamples of the grains, by which it is told how well their percentiles are known.
_RESAMPLES = 1000
_MOST_GRAINS = 999


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class PinchGrain:
    """One outlined thing: its outline in the view, shape (N, 2), px; ``likely`` if it looks like a single grain."""

    outline_px: NDArray[np.int32]
    diameter_mm: float
    color_linear: Floats
    likely: bool


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Pinch:
    """A photo of grains on paper, seen from straight above; sRGB of shape (H, W, 3).

    ``grains`` are numbered from the top left, line by line. ``scale_share`` is by what share of itself the scale may be
    off (standard), ``paper_linear`` the paper's colour in linear light, None where it is not told.
    """

    view: NDArray[np.uint8]
    mm_per_px: float
    grains: tuple[PinchGrain, ...]
    scale_share: float
    paper_linear: Floats | None


@dataclass(frozen=True, slots=True)
class PinchKind:
    """A kind of debris learned from a pinch, and sentences about what is unsure of it."""

    kind: DebrisKind
    unsure: tuple[str, ...]


def find_pinch(photo: Photo, side_mm: float) -> Pinch:
    """Find grains on paper.

    Parameters
    ----------
    photo : Photo
        Taken from above, with at least one printed square whose side is known, on plain paper.
    side_mm : float
        Side of its black square, mm.

    Returns
    -------
    Pinch

    Raises
    ------
    PortionError
        The side cannot be.
    PhotoUnfitError
        No square is seen, or nothing lies on the paper.
    """
    if not 1 <= side_mm <= 1000:
        raise PortionError(f"the side of the square must be from 1 to 1000 mm, got {side_mm:g}.")
    seen = find_markers(photo.pixels, range(50))
    if not seen:
        raise PhotoUnfitError(
            f"{photo.name}: no printed square is seen, which gives the scale. Lay one beside the grains, print one with"
            " debriscount markers, and photograph both from above."
        )
    marker = max(seen.values(), key=lambda one: cv2.contourArea(one.corners_px.astype(np.float32)))
    view, mm_per_px, corner_px = _from_above(photo.pixels, marker, side_mm)
    linear = linear_pixels(view)
    difference, lab_noise = _difference(linear, corner_px, side_mm / mm_per_px)
    mask = _grains(difference, lab_noise)
    grains = _outlined(mask, linear, mm_per_px)
    if not grains:
        raise PhotoUnfitError(
            f"{photo.name}: nothing stands out from the paper. Lay the grains on paper of another colour, around the"
            " square, so that they do not touch."
        )
    side_px = float(np.linalg.norm(np.roll(marker.corners_px, -1, axis=0) - marker.corners_px, axis=1).mean())
    return Pinch(
        view=view,
        mm_per_px=mm_per_px,
        grains=grains,
        # Two edges of the square, and a tilt of some degrees beyond it, which goes by its square.
        scale_share=float(np.hypot(np.sqrt(2) * marker.sigma_px / side_px, 0.005)),
        paper_linear=paper_colour(photo.pixels, [one.corners_px for one in seen.values()]),
    )


def pinch_kind(pinch: Pinch, singles: Sequence[int], name: str) -> PinchKind:
    """Learn colour and sizes of a kind from its single grains.

    Parameters
    ----------
    pinch : Pinch
        What was found.
    singles : sequence of int
        Numbers, from 1, of the grains that lie alone.
    name : str
        The kind's name.

    Returns
    -------
    PinchKind

    Raises
    ------
    PortionError
        There are fewer than three, one has no such number, or the name cannot be.
    """
    if fault := name_fault(name, ("patch",)):
        raise PortionError(f"the name {fault}.")
    for number in singles:
        if not 1 <= number <= len(pinch.grains):
            raise PortionError(f"there is no outline {number}: they go from 1 to {len(pinch.grains)}.")
    grains = [pinch.grains[number - 1] for number in sorted(set(singles))]
    if len(grains) < 3:
        raise PortionError(f"three single grains or more are needed, got {len(grains)}. Strew some more, and apart.")
    diameters = np.array([grain.diameter_mm for grain in grains])
    low, high = (float(end) for end in np.percentile(diameters, [5, 95]))
    colours = np.array([grain.color_linear for grain in grains])
    middle = np.median(colours, axis=0)
    light = np.ones(3) if pinch.paper_linear is None else np.maximum(pinch.paper_linear, 0.05) / _PAPER
    red, green, blue = (int(value) for value in np.round(255 * linear_to_srgb(np.clip(middle / light, 0, 1))))
    kind = DebrisKind(
        name=name, color_srgb=(red, green, blue), size_mm=(round(low, 2), round(max(high, low + 0.01), 2))
    )
    return PinchKind(kind, tuple(_unsure(pinch, diameters, colours, low, high)))


def _unsure(pinch: Pinch, diameters: Floats, colours: Floats, low: float, high: float) -> list[str]:
    rng = np.random.default_rng(1)
    again = np.percentile(rng.choice(diameters, (_RESAMPLES, len(diameters))), [5, 95], axis=1)
    u_low, u_high = (
        float(np.hypot(spread, pinch.scale_share * value))
        for spread, value in zip(again.std(axis=1), (low, high), strict=True)
    )
    said = [
        f"sizes: {low:.2f} ± {u_low:.2f} mm and {high:.2f} ± {u_high:.2f} mm (standard uncertainty), from"
        f" {len(diameters)} grains; the scale is good to {100 * pinch.scale_share:.1f} %"
    ]
    if len(diameters) < FEW:
        said.append(f"{len(diameters)} grains say little of the smallest and largest: {FEW} or more would say more")
    across = float(np.median(diameters)) / pinch.mm_per_px
    if across < 8:
        said.append(f"a grain is {across:.0f} px wide: go closer, for below 8 px the edge decides the size")
    lab = linear_to_lab(np.clip(colours, 0, 1))
    spread = float(np.sqrt(((lab - lab.mean(axis=0)) ** 2).sum(axis=1).mean()))
    said.append(f"colour: grains differ among themselves by {spread:.0f} in CIELAB; the photos of a run refine it")
    if pinch.paper_linear is None:
        said.append("the light is not told, since no paper is seen around the square: the colour is as in this photo")
    said.append("mass: unknown; debriscount portion learns it from weighed portions")
    return said


def _from_above(
    pixels: NDArray[np.uint8], marker: SeenMarker, side_mm: float
) -> tuple[NDArray[np.uint8], float, tuple[float, float]]:
    """The photo around a square from straight above: view, scale, and where the square's middle lies in it, px."""
    half = side_mm / 2
    square = np.array([[-half, -half], [half, -half], [half, half], [-half, half]], np.float32)
    to_mm = cv2.getPerspectiveTransform(marker.corners_px.astype(np.float32), square)
    height, width = pixels.shape[:2]
    # A photo's corner may lie beyond the horizon of a tilted camera; within reach of the square none does.
    reach = REACH * side_mm
    rim = np.array([[0, 0], [width - 1, 0], [width - 1, height - 1], [0, height - 1]], np.float32)
    ends = cv2.perspectiveTransform(rim[None], to_mm)[0]
    low = np.clip(ends.min(axis=0), -reach, -half)
    high = np.clip(ends.max(axis=0), half, reach)
    longest_px = np.linalg.norm(np.roll(marker.corners_px, -1, axis=0) - marker.corners_px, axis=1).max()
    mm_per_px = max(side_mm / float(longest_px), float(np.sqrt(np.prod(high - low) / _MOST_PX)))
    onto = np.array([[1 / mm_per_px, 0, -low[0] / mm_per_px], [0, 1 / mm_per_px, -low[1] / mm_per_px], [0, 0, 1]])
    size = tuple(round(float(extent) / mm_per_px) for extent in high - low)
    border = tuple(int(value) for value in np.median(pixels.reshape(-1, 3)[::97], axis=0))
    view = cv2.warpPerspective(pixels, onto @ to_mm, size, flags=cv2.INTER_AREA, borderValue=border)
    return np.asarray(view, np.uint8), mm_per_px, (float(-low[0] / mm_per_px), float(-low[1] / mm_per_px))


def _difference(
    linear: NDArray[np.float32], corner_px: tuple[float, float], side_px: float
) -> tuple[NDArray[np.float32], float]:
    """How much each pixel differs from the paper around it in CIELAB, 0 on the square and off the paper; and noise."""
    lab = linear_to_lab(linear).astype(np.float32)
    small = cv2.resize(lab, None, fx=1 / 8, fy=1 / 8, interpolation=cv2.INTER_AREA)
    window = 2 * (round(1.5 * side_px / 8) // 2) + 1
    # The median of surroundings that are mostly paper is paper, lit as it is there.
    medians = np.dstack([_wide_median(np.asarray(small[..., k], np.float32), window) for k in range(3)])
    paper = cv2.resize(medians, (lab.shape[1], lab.shape[0]), interpolation=cv2.INTER_LINEAR)
    difference = np.sqrt(((lab - paper) ** 2).sum(axis=2))
    noise = float(1.4826 * np.median(np.abs(difference - np.median(difference))))
    half = round(PAPER_SIDES * side_px / 2)
    x, y = (round(value) for value in corner_px)
    difference[max(y - half, 0) : y + half, max(x - half, 0) : x + half] = 0
    return np.asarray(difference, np.float32), noise


def _wide_median(channel: NDArray[np.float32], window: int) -> NDArray[np.float32]:
    """Median over a wide window, by way of 8 bits, for which it is quick."""
    low, high = float(channel.min()), float(channel.max())
    steps = np.asarray(np.round((channel - low) * (255 / max(high - low, 1e-6))), np.uint8)
    return np.asarray(cv2.medianBlur(steps, min(window, 255)), np.float32) * ((high - low) / 255) + low


def _grains(difference: NDArray[np.float32], noise: float) -> Mask:
    """Pixels of grains: those that differ by more than half of what the grains' inner parts do."""
    least = max(LEAST_DIFFERENCE, 6 * noise)
    rough = np.asarray(difference > least, np.uint8)
    inner = cv2.erode(rough, np.ones((3, 3), np.uint8)) > 0
    if not inner.any():
        return np.zeros(difference.shape, bool)
    level = max(least, HALF * float(np.median(difference[inner])))
    return np.asarray(difference > level)


def _outlined(mask: Mask, linear: NDArray[np.float32], mm_per_px: float) -> tuple[PinchGrain, ...]:
    """Grains of a mask in reading order; what the view cuts is left out."""
    height, width = mask.shape
    contours, _ = cv2.findContours(mask.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    found = []
    for contour in contours:
        x, y, w, h = cv2.boundingRect(contour)
        if x <= 1 or y <= 1 or x + w >= width - 1 or y + h >= height - 1:
            continue
        inside = np.zeros((h, w), np.uint8)
        cv2.drawContours(inside, [contour], -1, 1, cv2.FILLED, offset=(-x, -y))
        area = int(inside.sum())
        if area < LEAST_PX:
            continue
        core = cv2.erode(inside, np.ones((3, 3), np.uint8)) > 0
        core = core if core.any() else inside > 0
        hull = float(cv2.contourArea(cv2.convexHull(contour))) + cv2.arcLength(contour, True) / 2
        colour = np.median(linear[y : y + h, x : x + w][core], axis=0)
        found.append((x + w / 2, y + h / 2, contour[:, 0], area, area / max(hull, 1.0), colour))
    if not found:
        return ()
    areas = np.sort([one[3] for one in found])
    # Half of all that is outlined lies in larger pieces than this. Far smaller ones are dust and flaws of the paper, of
    # which there may be more than grains.
    middle = areas[np.searchsorted(np.cumsum(areas), areas.sum() / 2)]
    found = [one for one in found if one[3] >= SPECK * middle]
    usual = float(np.median([one[3] for one in found]))
    line = 2 * np.sqrt(usual)
    found.sort(key=lambda one: (round(one[1] / line), one[0]))
    return tuple(
        PinchGrain(
            outline_px=np.asarray(outline, np.int32),
            diameter_mm=float(2 * np.sqrt(area / np.pi) * mm_per_px),
            color_linear=np.asarray(colour, float),
            likely=convex > CONVEX and USUAL[0] * usual < area < USUAL[1] * usual,
        )
        for _, _, outline, area, convex, colour in found[:_MOST_GRAINS]
    )
