"""Grains drawn as discs on a raster, as the stages before would hand them over, without photos."""

import cv2
import numpy as np
from numpy.typing import NDArray

from debriscount.cover.kinds import KindHint
from debriscount.grains.find import FoundGrains
from debriscount.grains.table import grain_table
from debriscount.inputs.patch import Patch
from debriscount.layout.lay_patch import lay_patch
from debriscount.leftovers.overlap import SeenGrains
from debriscount.leftovers.trace import TracedShot
from debriscount.registration.grid import FloorGrid

Floats = NDArray[np.float64]
MM_PER_PX = 0.5
PATCH = lay_patch(400, 300, ())
GRID = FloorGrid(-60.0, -60.0, MM_PER_PX, 840, 1040)


def hint(diameter_px: float) -> KindHint:
    return KindHint(np.array([0.5, 0.2, 0.1]), (0.9 * diameter_px, 1.1 * diameter_px))


def seen(places_px: Floats, diameter_px: float, cover: float = 1.0, grid: FloorGrid = GRID) -> SeenGrains:
    """Discs at places (column, row), to a sixteenth of a pixel; where two meet, pixels go to the later one."""
    labels = np.zeros(grid.shape, np.int32)
    for number, (x, y) in enumerate(places_px, start=1):
        middle = (round(16 * x), round(16 * y))
        cv2.circle(labels, middle, round(8 * diameter_px), (number,), cv2.FILLED, cv2.LINE_8, 4)
    mask = labels > 0
    count = len(places_px)
    area = np.bincount(labels[mask], minlength=count + 1)[1:].astype(float)
    _, clumps = cv2.connectedComponents(mask.astype(np.uint8))
    column, row = np.clip(np.rint(places_px).astype(int).reshape(-1, 2), 0, np.array(grid.shape[::-1]) - 1).T
    found = FoundGrains(
        np.zeros(count, np.int16),
        places_px[:, 0],
        places_px[:, 1],
        np.maximum(area, 1.0),
        np.zeros(count),
        np.asarray(clumps[row, column], np.int32),
        mask.astype(np.uint8),
        labels,
    )
    return SeenGrains(found, np.where(mask, np.float32(cover), np.float32(0)))


def traced(places_px: Floats, diameter_px: float, patch: Patch = PATCH) -> TracedShot:
    shot = seen(places_px, diameter_px)
    return TracedShot(shot, grain_table(shot.found, GRID, patch))


def strewn(rng: np.random.Generator, count: int, apart_px: float, keep_off: Floats | None = None) -> Floats:
    """Random places on the patch, no two (and none of ``keep_off``) nearer than ``apart_px``."""
    low, high = np.array([140.0, 140.0]), np.array([900.0, 700.0])
    chosen: list[Floats] = []
    others = [] if keep_off is None else list(keep_off)
    while len(chosen) < count:
        place = rng.uniform(low, high)
        if all(np.hypot(*(place - other)) >= apart_px for other in (*chosen, *others)):
            chosen.append(place)
    return np.array(chosen).reshape(-1, 2)
