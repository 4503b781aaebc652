from dataclasses import replace

import numpy as np
import pytest

from debriscount.grains.find import FoundGrains
from debriscount.grains.table import GrainTable, grain_table, zone_members
from debriscount.inputs.patch import CORNER, EDGE, MARGIN, OPEN, CustomZone
from debriscount.layout.lay_patch import lay_patch
from debriscount.registration.grid import FloorGrid

GRID = FloorGrid(-60.0, -60.0, 0.5, 840, 1040)


def found(x_px: list[float], y_px: list[float], area_px: float = 64.0) -> FoundGrains:
    n = len(x_px)
    return FoundGrains(
        np.zeros(n, np.int16),
        np.array(x_px),
        np.array(y_px),
        np.full(n, area_px),
        np.zeros(n),
        np.arange(n, dtype=np.int32),
        np.zeros(GRID.shape, np.uint8),
        np.zeros(GRID.shape, np.int32),
    )


def test_pixels_become_millimetres_and_zones() -> None:
    patch = lay_patch(400, 300, ("top", "left"))
    table = grain_table(found([130.0, 400.0, 600.0, 980.0], [130.0, 140.0, 500.0, 300.0]), GRID, patch)
    assert table.x_mm.tolist() == [5, 140, 240, 430]
    assert table.y_mm.tolist() == [5, 10, 190, 90]
    assert table.area_mm2.tolist() == [16] * 4
    assert table.zone.tolist() == [CORNER, EDGE, OPEN, MARGIN]
    assert table.diameter_mm == pytest.approx(2 * np.sqrt(16 / np.pi))


def test_a_grain_stands_above_the_floor_and_seems_to_lie_farther_from_the_camera() -> None:
    """By similar triangles: at height h under a camera at height H the place is off by h / (H - h) of its distance."""
    patch = lay_patch(400, 300, ())
    camera = np.array([200.0, 150.0, 800.0])
    seen = grain_table(found([920.0], [420.0]), GRID, patch)
    true = grain_table(found([920.0], [420.0]), GRID, patch, camera)
    assert (seen.x_mm[0], seen.y_mm[0]) == (400.0, 150.0)
    assert 198 < true.x_mm[0] - 200 < 200
    assert true.y_mm[0] == pytest.approx(150)


def test_zones_of_ones_own_stand_beside_the_patchs_own() -> None:
    patch = replace(lay_patch(400, 300, ()), custom_zones=(CustomZone("rug", ((0, 0), (50, 0), (50, 50), (0, 50))),))
    table = grain_table(found([140.0, 600.0, 20.0], [140.0, 500.0, 20.0]), GRID, patch)
    members = {name: np.flatnonzero(own).tolist() for name, own in zone_members(patch, table).items()}
    assert members == {"patch": [0, 1], "open": [0, 1], "margin": [2], "rug": [0]}


def test_some_of_the_grains_keep_their_entries_together() -> None:
    table = grain_table(found([140.0, 600.0, 20.0], [140.0, 500.0, 20.0]), GRID, lay_patch(400, 300, ()))
    some = table.take(np.array([True, False, True]))
    assert isinstance(some, GrainTable)
    assert (some.x_mm.tolist(), some.clump.tolist()) == ([10, -50], [0, 2])
