"""A patch among squares that lie anyhow: where it has room, and how its four corners are found with a tape."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..arrays import Floats
from ..errors import PatchLayoutError
from ..inputs.patch import Marker, Patch
from .paper import HALF_PAPER

#: Names of the corners in the order of `Patch.corners_mm`.
CORNERS = ("top left", "top right", "bottom right", "bottom left")
#: Steps of the search for a place: of a quarter turn, and of the middle over the way that the squares span.
_TURNS, _STEPS = 30, 21
#: Shares of the patch that its middle may lie off the middle of the squares before another place is better.
_OFF_WEIGHT = 0.1


@dataclass(frozen=True, slots=True)
class CornerPlace:
    """How a corner of the patch is found: numbers of two squares, and how far from their centres it lies, mm."""

    name: str
    first: tuple[int, float]
    second: tuple[int, float]


def patch_among(
    markers: Sequence[Marker], size_mm: tuple[float, float], name: str, margin_mm: float
) -> tuple[Patch, tuple[CornerPlace, ...], Floats]:
    """Lay a patch on open floor among squares.

    Parameters
    ----------
    markers : sequence of Marker
        Where the squares lie, by any origin; the patch is turned against its axes as little as may be.
    size_mm : (float, float)
        Width and height of the patch, mm.
    name : str
        Its name.
    margin_mm : float
        Width of the ring around it, mm.

    Returns
    -------
    Patch
        With the squares as it has them.
    tuple of CornerPlace
        How its corners are found.
    ndarray of shape (4, 2)
        Its corners as the squares' own origin has them, mm.

    Raises
    ------
    PatchLayoutError
        Nowhere among the squares is room for patch and margin.
    """
    width, height = size_mm
    centers = np.array([marker.center_mm for marker in markers])
    papers = np.array([marker.box_mm(HALF_PAPER * marker.side_mm) for marker in markers])
    middle, span = (centers.min(axis=0) + centers.max(axis=0)) / 2, np.ptp(centers, axis=0)
    shifts = np.linspace(-0.5, 0.5, _STEPS)
    best, best_room = None, -math.inf
    for turn in np.arange(-_TURNS, _TURNS + 1) * (np.pi / 2 / _TURNS):
        c, s = np.cos(turn), np.sin(turn)
        onto = np.array([[c, -s], [s, c]])  # rows times this give places along the patch's sides
        own, paper = (centers - middle) @ onto, (papers - middle) @ onto
        for dx in shifts * span[0]:
            for dy in shifts * span[1]:
                away = np.array([dx, dy]) @ onto
                room = _room_mm(paper - away, width, height)
                held = _held(own - away, width, height)
                worth = (
                    min(room, 2 * margin_mm) - _OFF_WEIGHT * math.hypot(dx, dy) - abs(np.rad2deg(turn)) + 1000 * held
                )
                if room >= margin_mm and worth > best_room:
                    best, best_room = (turn, np.array([dx, dy])), worth
    if best is None:
        raise PatchLayoutError(
            f"nowhere among these squares is room for {width:g} x {height:g} mm with a margin of {margin_mm:g} mm. Lay"
            " them farther apart, or give a smaller patch."
        )
    turn, shift = best
    c, s = np.cos(turn), np.sin(turn)
    onto = np.array([[c, -s], [s, c]])
    origin = middle + shift - np.array([width / 2, height / 2]) @ onto.T
    laid = tuple(_moved(marker, onto, origin, float(np.rad2deg(turn))) for marker in markers)
    patch = Patch(name, width, height, (), laid, min(30.0, min(size_mm) // 4), min(60.0, min(size_mm) // 2), margin_mm)
    return patch, _found_by(patch), patch.corners_mm() @ onto.T + origin


def _moved(marker: Marker, onto: Floats, origin: Floats, turn_deg: float) -> Marker:
    """A square as the patch has it, rounded to what a person would write."""
    x, y = (np.array(marker.center_mm) - origin) @ onto
    return Marker(
        marker.id,
        (round(float(x), 2), round(float(y), 2)),
        round(float(marker.side_mm), 3),
        round(float((marker.turned_deg - turn_deg + 180) % 360 - 180), 3),
    )


def _room_mm(papers: Floats, width: float, height: float) -> float:
    """Least distance of papers' corners from the patch about 0, mm; negative where one lies within."""
    off = np.maximum(np.abs(papers[..., 0]) - width / 2, np.abs(papers[..., 1]) - height / 2)
    return float(off.min())


def _held(centers: Floats, width: float, height: float) -> int:
    """On how many sides of the patch squares lie: the more, the better the view is held there."""
    x, y = centers.T
    return int((x < -width / 2).any() + (x > width / 2).any() + (y < -height / 2).any() + (y > height / 2).any())


def _found_by(patch: Patch) -> tuple[CornerPlace, ...]:
    """Two squares for each corner that are near, and from which the tapes cross well."""
    places = []
    for name, corner in zip(CORNERS, patch.corners_mm(), strict=True):
        ways = [(marker, np.array(marker.center_mm) - corner) for marker in patch.markers]

        def crossing(pair: tuple[int, int], ways: list[tuple[Marker, Floats]] = ways) -> float:
            (_, a), (_, b) = ways[pair[0]], ways[pair[1]]
            across = abs(a[0] * b[1] - a[1] * b[0]) / max(float(np.linalg.norm(a) * np.linalg.norm(b)), 1e-9)
            return float(across / (np.linalg.norm(a) + np.linalg.norm(b)))

        pairs = [(i, j) for i in range(len(ways)) for j in range(i + 1, len(ways))]
        first, second = max(pairs, key=crossing)
        ends = [(ways[k][0].id, float(np.linalg.norm(ways[k][1]))) for k in (first, second)]
        places.append(CornerPlace(name, *ends))
    return tuple(places)
