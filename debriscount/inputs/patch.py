"""The patch of floor: its size, walls, markers and zones, all in millimetres."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from ..arrays import Floats, Mask

#: Numbers or arrays of numbers, of single or double precision; what is made of them is of the same kind.
AnyFloats = TypeVar("AnyFloats", float, NDArray[np.float32], Floats)

WALL_SIDES = ("top", "right", "bottom", "left")

#: Zones in the order in which they are reported; a point's code is its place in this tuple.
ZONES = ("open", "edge", "corner", "margin")
OPEN, EDGE, CORNER, MARGIN = range(4)
OUTSIDE = -1
#: From that length on a patch is a room: several lanes of a machine lie side by side on it.
ROOM_MM = 1500.0


def zone_in_patch(zone: NDArray[np.int8]) -> Mask:
    """Whether each of these zone codes is one of the patch's own: neither margin nor outside."""
    return np.asarray((zone != MARGIN) & (zone != OUTSIDE))


@dataclass(frozen=True, slots=True)
class Marker:
    """A printed square lying flat on the floor.

    It is read upright, its top towards the patch's top, unless it lies turned clockwise by ``turned_deg``.
    """

    id: int
    center_mm: tuple[float, float]
    side_mm: float
    turned_deg: float = 0.0

    def corners_mm(self) -> Floats:
        """Corners of the black square, ndarray of shape (4, 2): top left of the print, then clockwise, mm."""
        return self.box_mm(self.side_mm / 2)

    def box_mm(self, half_mm: float) -> Floats:
        """Corners of a square about its centre that lies as it does, ndarray of shape (4, 2), as `corners_mm`."""
        x, y = self.center_mm
        h = half_mm
        if not self.turned_deg:
            return np.array([[x - h, y - h], [x + h, y - h], [x + h, y + h], [x - h, y + h]])
        return np.array([[-h, -h], [h, -h], [h, h], [-h, h]]) @ self._turn() + self.center_mm

    def from_center_mm(self, places_mm: Floats) -> Floats:
        """Floor places of shape (N, 2) as seen from the square: from its centre, along its own sides, mm."""
        away = places_mm - self.center_mm
        return np.asarray(away @ self._turn().T if self.turned_deg else away)

    def _turn(self) -> Floats:
        angle = np.deg2rad(self.turned_deg)
        c, s = np.cos(angle), np.sin(angle)
        return np.array([[c, s], [-s, c]])


@dataclass(frozen=True, slots=True)
class CustomZone:
    """A polygon of the user's own, reported beside the four zones and never summed with them."""

    name: str
    polygon_mm: tuple[tuple[float, float], ...]


@dataclass(frozen=True, slots=True)
class NotFloor:
    """A polygon that hides floor in every shot, such as a cupboard: what lies in it belongs to no zone."""

    name: str
    polygon_mm: tuple[tuple[float, float], ...]


@dataclass(frozen=True, slots=True)
class Patch:
    """The marked rectangle of floor; origin at its top-left corner, x right, y down.

    ``rendered`` says that its pictures are renderings, which must not pass for photographs.
    """

    name: str
    width_mm: float
    height_mm: float
    walls: tuple[str, ...]
    markers: tuple[Marker, ...]
    edge_mm: float
    corner_mm: float
    margin_mm: float
    custom_zones: tuple[CustomZone, ...] = ()
    not_floor: tuple[NotFloor, ...] = ()
    rendered: bool = False

    @property
    def is_room(self) -> bool:
        """Whether it is so large that where a machine went is asked before all else."""
        return max(self.width_mm, self.height_mm) >= ROOM_MM

    @property
    def title(self) -> str:
        """Its name as it stands on pictures: with a word where they are renderings."""
        return f"{self.name} (rendered, not photographed)" if self.rendered else self.name

    def outer_box_mm(self) -> tuple[float, float, float, float]:
        """Left, top, right and bottom of patch and margin together, mm; no margin behind a wall."""
        m = self.margin_mm
        return (
            0.0 if "left" in self.walls else -m,
            0.0 if "top" in self.walls else -m,
            self.width_mm + (0.0 if "right" in self.walls else m),
            self.height_mm + (0.0 if "bottom" in self.walls else m),
        )

    def in_front_of_walls(self, x_mm: NDArray[np.floating], y_mm: NDArray[np.floating]) -> tuple[Floats, Floats]:
        """Places behind a wall moved to its foot, others as they are; shapes as given, mm.

        A grain at the wall appears a little behind it where the camera looks at its top from the patch.
        """
        x, y = np.array(x_mm, float), np.array(y_mm, float)
        hair = 1e-6 * max(self.width_mm, self.height_mm)
        if "left" in self.walls:
            x = np.maximum(x, 0)
        if "right" in self.walls:
            x = np.minimum(x, self.width_mm - hair)
        if "top" in self.walls:
            y = np.maximum(y, 0)
        if "bottom" in self.walls:
            y = np.minimum(y, self.height_mm - hair)
        return x, y

    def corners_mm(self) -> Floats:
        """Corners of the patch, ndarray of shape (4, 2): top left, then clockwise, mm."""
        w, h = self.width_mm, self.height_mm
        return np.array([[0, 0], [w, 0], [w, h], [0, h]], float)

    def wall_corners(self) -> list[tuple[str, str]]:
        """Pairs of walls that meet in a corner; top or bottom first."""
        return [(a, b) for b in ("left", "right") for a in ("top", "bottom") if a in self.walls and b in self.walls]

    def to_side_mm(self, side: str, x_mm: AnyFloats, y_mm: AnyFloats) -> AnyFloats:
        """Distance of each place from one of ``WALL_SIDES``, wall or not, mm; negative beyond it.

        ``x_mm`` and ``y_mm`` may be numbers or arrays; the distance has the shape of the one it depends on.
        """
        if side in ("left", "right"):
            return x_mm if side == "left" else self.width_mm - x_mm
        return y_mm if side == "top" else self.height_mm - y_mm

    def inside(
        self, x_mm: Sequence[float] | NDArray[np.floating], y_mm: Sequence[float] | NDArray[np.floating]
    ) -> Mask:
        """Whether each point lies in the patch, margin not counted; shapes as for `zone_codes`."""
        return zone_in_patch(self.zone_codes(x_mm, y_mm))

    def is_floor(self, x_mm: NDArray[np.floating], y_mm: NDArray[np.floating]) -> Mask:
        """Whether each place lies in none of the polygons that are no floor; shapes as for `zone_codes`."""
        x, y = np.broadcast_arrays(np.asarray(x_mm, float), np.asarray(y_mm, float))
        floor = np.ones(x.shape, bool)
        for thing in self.not_floor:
            (left, top), (right, bottom) = np.min(thing.polygon_mm, axis=0), np.max(thing.polygon_mm, axis=0)
            near = np.nonzero((x >= left) & (x <= right) & (y >= top) & (y <= bottom))
            floor[near] &= ~_inside_polygon(x[near], y[near], thing.polygon_mm)
        return floor

    def zone_names(self) -> tuple[str, ...]:
        """Names of the zones that this patch's walls and margin make, in ``ZONES``' order."""
        present = {
            "open": True,
            "edge": bool(self.walls),
            "corner": bool(self.wall_corners()),
            "margin": self.margin_mm > 0,
        }
        return tuple(name for name in ZONES if present[name])

    def zone_codes(
        self, x_mm: Sequence[float] | NDArray[np.floating], y_mm: Sequence[float] | NDArray[np.floating]
    ) -> NDArray[np.int8]:
        """Zone of each point: an index into ``ZONES``, or ``OUTSIDE``.

        Parameters
        ----------
        x_mm, y_mm : array_like, broadcastable against each other
            Places on the floor, mm.

        Returns
        -------
        ndarray of int8
            Zones do not overlap: a point of the corner square is corner, not edge. What is no floor is outside.
        """
        x, y = np.broadcast_arrays(np.asarray(x_mm, float), np.asarray(y_mm, float))
        to_wall = {wall: self.to_side_mm(wall, x, y) for wall in self.walls}
        inside = (x >= 0) & (x < self.width_mm) & (y >= 0) & (y < self.height_mm)
        codes = np.full(x.shape, OUTSIDE, np.int8)
        left, top, right, bottom = self.outer_box_mm()
        codes[(x >= left) & (x < right) & (y >= top) & (y < bottom)] = MARGIN
        codes[inside] = OPEN
        for wall in self.walls:
            codes[inside & (to_wall[wall] < self.edge_mm)] = EDGE
        for a, b in self.wall_corners():
            codes[inside & (to_wall[a] < self.corner_mm) & (to_wall[b] < self.corner_mm)] = CORNER
        if self.not_floor:
            codes[~self.is_floor(x, y)] = OUTSIDE
        return codes


def _inside_polygon(x_mm: Floats, y_mm: Floats, polygon_mm: Sequence[tuple[float, float]]) -> Mask:
    """Whether places of shape (N,) lie in a polygon: a ray to the right then crosses it an odd number of times."""
    inside = np.zeros(x_mm.shape, bool)
    for (x0, y0), (x1, y1) in zip(polygon_mm, (*polygon_mm[1:], polygon_mm[0]), strict=True):
        if y0 != y1:
            crossed = (y_mm < y0) != (y_mm < y1)
            inside ^= crossed & (x_mm < x0 + (y_mm - y0) / (y1 - y0) * (x1 - x0))
    return inside
