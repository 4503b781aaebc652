"""The machine in one frame: a round body of known height, seen from above at a slant."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from ..arrays import Floats, Mask
from ..photo.colour import linear_pixels
from ..registration.grid import FloorGrid
from .maps import Cells

#: Diameters that a machine for floors may have, mm.
DIAMETERS_MM = (150.0, 600.0)
#: Height of a machine unless told, mm: machines for floors are 70 to 110 mm high (common practice, no source).
USUAL_HEIGHT_MM = 90.0
#: Share of its outline that must be seen to place a machine, and from which on it is seen whole: less than half of a
#: circle leaves its middle free to one side.
_LEAST_RIM, _WHOLE = 0.5, 0.97
_ROUNDS = 12
#: Cells around a thing that are looked at with it.
_ROOM = 4
#: Off the outline by more than this, mm, a point weighs less (Huber): shadow, cable, a hand that lifts it.
_STRAY_MM = 4.0


@dataclass(frozen=True, slots=True)
class SeenMachine:
    """A machine in one frame: its middle on the floor, its radius, and whether its whole outline was seen; mm.

    ``lid`` says that the outline is that of its top alone, its side having the floor's colour; ``off_mm`` how far the
    points of the outline are off it, root mean square.
    """

    x_mm: float
    y_mm: float
    radius_mm: float
    whole: bool
    lid: bool
    off_mm: float


@dataclass(frozen=True, slots=True, eq=False)
class Outline:
    """What is seen of the outline of the largest thing: points of shape (P, 2), mm, and their share of all of it."""

    points_mm: NDArray[np.float32]
    share: float

    @property
    def whole(self) -> bool:
        """Whether all of it was seen."""
        return self.share > _WHOLE


def outline_of(thing: Mask, frame: Cells, cells: FloorGrid) -> Outline | None:
    """Outline of the largest thing of a frame.

    Parameters
    ----------
    thing : ndarray of bool, shape (h, w)
        Cells that are a thing.
    frame : Cells
        The frame over the cells.
    cells : FloorGrid
        Where they lie.

    Returns
    -------
    Outline or None
        None where no thing of the size of a machine is seen, or too little of it.
    """
    count, labels, stats, _ = cv2.connectedComponentsWithStats(thing.astype(np.uint8), connectivity=8)
    if count < 2:
        return None
    largest = 1 + int(np.argmax(stats[1:, cv2.CC_STAT_AREA]))
    area = float(stats[largest, cv2.CC_STAT_AREA]) * cells.mm_per_px**2
    if area < 0.15 * np.pi / 4 * DIAMETERS_MM[0] ** 2:
        return None
    left, top, width, height = (int(v) for v in stats[largest, : cv2.CC_STAT_AREA])
    box = np.s_[max(0, top - _ROOM) : top + height + _ROOM, max(0, left - _ROOM) : left + width + _ROOM]
    corner = np.array([box[1].start, box[0].start])
    body = _to_its_rim((labels[box] == largest).astype(np.uint8), linear_pixels(frame.pixels[box]))
    # What is thinner than a hand's breadth hangs on the machine and is none of it.
    # Odd, so that opening does not push the body aside.
    hand = 2 * round(30 / cells.mm_per_px) + 1
    open_ = cv2.morphologyEx(body, cv2.MORPH_OPEN, cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (hand, hand)))
    outlines, _ = cv2.findContours(open_, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    if not outlines:
        return None
    hull = cv2.convexHull(max(outlines, key=cv2.contourArea))[:, 0].astype(float)
    rim, share = _rim(hull, frame.seen[box])
    if len(rim) < 8 or share < _LEAST_RIM:
        return None
    points = (rim + corner) * cells.mm_per_px + (cells.x0_mm, cells.y0_mm)
    return Outline(points.astype(np.float32), share)


def placed_machine(
    outline: Outline, camera: Floats, height_mm: float, radius_mm: float | None = None, lid: bool | None = None
) -> SeenMachine | None:
    """Place a machine by its outline.

    Parameters
    ----------
    outline : Outline
        What is seen of it.
    camera : ndarray of shape (3,)
        Place of the camera, mm, as `camera_place` gives it.
    height_mm : float
        Of the machine.
    radius_mm : float, optional
        Its radius, if it is known by now; otherwise it is found with the place.
    lid : bool, optional
        Whether its top alone tells itself from the floor, if that is known by now; otherwise whichever fits better.

    Returns
    -------
    SeenMachine or None
        None where the outline is of no round thing of a machine's size.
    """
    points = outline.points_mm.astype(float)
    fits = [
        fit
        for one in ((False, True) if lid is None else (lid,))
        if (fit := _fitted(points, camera, height_mm, radius_mm, outline.whole, one)) is not None
    ]
    return min(fits, key=lambda fit: fit.off_mm, default=None)


def _to_its_rim(body: NDArray[np.uint8], light: NDArray[np.float32]) -> NDArray[np.uint8]:
    """A body with the cells of its rim given to it or to what is beside it, whichever they are more like.

    Cells of the rim show some of both. In light and in the machine's own shadow the halfway mark is another.
    """
    inside = cv2.erode(body, np.ones((3, 3), np.uint8))
    beyond = 1 - cv2.dilate(body, np.ones((5, 5), np.uint8))
    window = (2 * _ROOM + 1,) * 2
    means = []
    for part in (inside, beyond):
        weight = cv2.blur(part.astype(np.float32), window)
        total = cv2.blur(light * part[..., None].astype(np.float32), window)
        means.append(total / np.maximum(weight, 1e-3)[..., None])
    off = [cv2.transform((light - mean) ** 2, np.ones((1, 3), np.float32)) for mean in means]
    rim = (inside == 0) & (beyond == 0)
    return np.where(rim, off[0] < off[1], inside > 0).astype(np.uint8)


def _rim(hull: Floats, seen: Mask) -> tuple[Floats, float]:
    """Points a cell apart along a hull that lie away from where the frame ends, and their share of all."""
    ends = np.roll(hull, -1, axis=0)
    lengths = np.hypot(*(ends - hull).T)
    parts = [
        start + np.linspace(0, 1, max(1, int(length)), endpoint=False)[:, None] * (end - start)
        for start, end, length in zip(hull, ends, lengths, strict=True)
    ]
    points = np.concatenate(parts)
    padded = np.pad(seen.astype(np.uint8), 1)
    clear = cv2.erode(padded, np.ones((7, 7), np.uint8))[1:-1, 1:-1] > 0
    column, row = np.round(points).astype(int).T
    inside = clear[row, column]
    return points[inside], float(inside.mean())


def _fitted(
    points_mm: Floats, camera: Floats, height_mm: float, radius_mm: float | None, whole: bool, lid: bool
) -> SeenMachine | None:
    """Fit the outline of an upright cylinder by least squares (Gauss-Newton, Huber's weights)."""
    raised = camera[2] / (camera[2] - height_mm)
    at = _start(points_mm, camera, (1 + raised) / 2, radius_mm, whole)
    free = 3 if radius_mm is None else 2

    def off(p: Floats) -> Floats:
        if lid:
            return np.asarray(np.hypot(*(points_mm - camera[:2] - (p[:2] - camera[:2]) * raised).T) - p[2] * raised)
        return _off_outline(points_mm, p[:2], float(p[2]), camera[:2] + (p[:2] - camera[:2]) * raised, raised)

    for _ in range(_ROUNDS):
        here = off(at)
        slopes = np.stack([off(at + 0.5 * step) - off(at - 0.5 * step) for step in np.eye(3)[:free]], axis=-1)
        weight = np.minimum(1, _STRAY_MM / np.maximum(np.abs(here), 1e-9))
        step = np.linalg.lstsq(slopes * np.sqrt(weight)[:, None], -here * np.sqrt(weight), rcond=None)[0]
        at[:free] += np.clip(step, -50, 50)
        if np.abs(step).max() < 0.05:
            break
    left = np.minimum(np.abs(off(at)), 2 * _STRAY_MM)
    if not DIAMETERS_MM[0] <= 2 * at[2] <= DIAMETERS_MM[1] or np.median(left) >= 2 * _STRAY_MM:
        return None
    rms = float(np.sqrt((left**2).mean()))
    return SeenMachine(float(at[0]), float(at[1]), float(at[2]), whole, lid, rms)


def _start(points_mm: Floats, camera: Floats, raised: float, radius_mm: float | None, whole: bool) -> Floats:
    """Middle and radius to begin with, shape (3,): of the box around a whole outline, of a circle through a part."""
    low, high = points_mm.min(axis=0), points_mm.max(axis=0)
    middle = camera[:2] + ((low + high) / 2 - camera[:2]) / raised
    radius = radius_mm or float((high - low).mean()) / 2 / raised
    if whole:
        return np.array([*middle, radius])
    # Least squares of |p|^2 = 2 p m + c (Kasa 1976).
    normal = np.column_stack([points_mm, np.ones(len(points_mm))])
    solved = np.linalg.lstsq(normal, (points_mm**2).sum(axis=1), rcond=None)[0]
    near, away = solved[:2] / 2, solved[:2] / 2 - points_mm.mean(axis=0)
    if np.hypot(*away) >= 2 * radius:
        return np.array([*middle, radius])
    through = float(np.sqrt(max(solved[2] + near @ near, 0.0)))
    return np.array([*near, radius_mm or through / raised])


def _off_outline(points: Floats, foot: Floats, radius: float, crown: Floats, raised: float) -> Floats:
    """Distance of points from the hull of two discs, the machine's foot and its top as it seems to lie, mm."""
    upper = radius * raised
    apart = crown - foot
    far = float(np.hypot(*apart))
    if far <= upper - radius:  # the top hides the foot
        return np.asarray(np.hypot(*(points - crown).T) - upper)
    along = apart / far
    lean = (radius - upper) / far
    steep = np.sqrt(max(1 - lean * lean, 0.0))
    v = (points - foot) @ along
    u = np.abs((points - foot) @ np.array([-along[1], along[0]]))
    k = -lean * u + steep * v
    return np.asarray(
        np.where(
            k < 0,
            np.hypot(u, v) - radius,
            np.where(k > steep * far, np.hypot(u, v - far) - upper, u * steep + v * lean - radius),
        )
    )
