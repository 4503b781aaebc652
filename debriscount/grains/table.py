"""The grains of a shot in millimetres of floor, each in its zone."""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from ..camera.view import MIDDLE, below
from ..inputs.patch import MARGIN, OUTSIDE, ZONES, Patch
from ..registration.grid import FloorGrid
from .find import FoundGrains


@dataclass(frozen=True, slots=True, eq=False)
class GrainTable:
    """The grains of one shot, one entry a grain in every array.

    ``kind`` indexes the measurement's ``kinds``; ``zone`` indexes ``ZONES``; ``clump`` is the number of what hangs
    together, empty where that is unknown. ``outline_mm2`` is the area within the outline where ``area_mm2`` is a better
    estimate of a grain's; empty where they are the same.
    """

    kind: NDArray[np.int16]
    x_mm: NDArray[np.float64]
    y_mm: NDArray[np.float64]
    area_mm2: NDArray[np.float64]
    zone: NDArray[np.int8]
    clump: NDArray[np.int32] = field(default_factory=lambda: np.zeros(0, np.int32))
    outline_mm2: NDArray[np.float64] = field(default_factory=lambda: np.zeros(0))

    @property
    def diameter_mm(self) -> NDArray[np.float64]:
        """Diameter of the circle of the same area, mm (equivalent circular diameter, ISO 9276-6)."""
        return 2 * np.sqrt(self.area_mm2 / np.pi)

    def __len__(self) -> int:
        return len(self.x_mm)

    def take(self, chosen: NDArray[np.bool_]) -> "GrainTable":
        """Those grains alone."""
        clump = self.clump[chosen] if len(self.clump) else self.clump
        outline = self.outline_mm2[chosen] if len(self.outline_mm2) else self.outline_mm2
        places = self.x_mm[chosen], self.y_mm[chosen]
        return GrainTable(self.kind[chosen], *places, self.area_mm2[chosen], self.zone[chosen], clump, outline)


def grain_table(
    found: FoundGrains, grid: FloorGrid, patch: Patch, camera: NDArray[np.float64] | None = None
) -> GrainTable:
    """Grains in millimetres of floor, each in the zone where its centre lies.

    ``camera`` is where the shot was taken from: a grain's middle stands above the floor, so that it seems to lie
    farther from the camera than it does. None leaves places as seen.
    """
    x = grid.x0_mm + grid.mm_per_px * found.x_px
    y = grid.y0_mm + grid.mm_per_px * found.y_px
    area = found.area_px * grid.mm_per_px**2
    if camera is not None:
        x, y = below(x, y, MIDDLE * 2 * np.sqrt(area / np.pi), camera)
    zone = patch.zone_codes(*patch.in_front_of_walls(x, y))
    return GrainTable(found.kind, x, y, area, zone, found.clump)


def zone_members(patch: Patch, grains: GrainTable) -> dict[str, NDArray[np.bool_]]:
    """Which grains belong to "patch", to each of its zones and to each custom zone."""
    members = {"patch": (grains.zone != MARGIN) & (grains.zone != OUTSIDE)}
    members |= {name: grains.zone == ZONES.index(name) for name in patch.zone_names()}
    if patch.custom_zones:
        from skimage.measure import points_in_poly

        places = np.stack([grains.x_mm, grains.y_mm], axis=-1).reshape(-1, 2)
        for zone in patch.custom_zones:
            members[zone.name] = np.asarray(points_in_poly(places, np.array(zone.polygon_mm)), bool)  # type: ignore[no-untyped-call]
    return members
