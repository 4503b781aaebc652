"""The machine placed by its outline; the masks are drawn here, as a pinhole camera would show a cylinder."""

import cv2
import numpy as np
import pytest

from debriscount.arrays import Floats
from debriscount.film.machine import SeenMachine, outline_of, placed_machine
from debriscount.film.maps import Cells
from debriscount.registration.grid import FloorGrid

GRID = FloorGrid(-297.5, -297.5, 5.0, 240, 320)
CAMERA = np.array([400.0, 250.0, 1300.0])


def drawn(x: float, y: float, radius: float, height: float) -> np.ndarray:
    """Cells that a cylinder hides, averaged over a raster ten times finer."""
    fine = np.zeros((10 * GRID.height_px, 10 * GRID.width_px), np.uint8)
    angle = np.linspace(0, 2 * np.pi, 400)
    rim = np.array([x, y]) + radius * np.stack([np.cos(angle), np.sin(angle)], axis=-1)
    top = CAMERA[:2] + (rim - CAMERA[:2]) * CAMERA[2] / (CAMERA[2] - height)
    points: Floats = np.concatenate([rim, top]) - (GRID.x0_mm - 2.5, GRID.y0_mm - 2.5)
    cv2.fillConvexPoly(fine, cv2.convexHull(np.round(points / 0.5).astype(np.int32)), (255,))
    return np.asarray(cv2.resize(fine, (GRID.width_px, GRID.height_px), interpolation=cv2.INTER_AREA))


def frame(share: np.ndarray) -> Cells:
    """A dark machine on a grey floor."""
    pixels = np.round(180 - 140 * share[..., None] / 255.0).astype(np.uint8).repeat(3, axis=2)
    return Cells(pixels, np.ones(share.shape, bool))


def seen_machine(
    thing: np.ndarray, seen: Cells, radius_mm: float | None, lid: bool | None = None
) -> SeenMachine | None:
    outline = outline_of(thing, seen, GRID)
    return None if outline is None else placed_machine(outline, CAMERA, 90.0, radius_mm, lid)


@pytest.mark.parametrize(("x", "y"), [(400, 250), (60, 40), (900, 500), (500, -60)])
def test_a_machine_is_placed_where_it_stands(x: float, y: float) -> None:
    share = drawn(x, y, 160, 90)
    found = seen_machine(share > 40, frame(share), None)
    assert found is not None
    assert found.whole
    assert np.hypot(found.x_mm - x, found.y_mm - y) < 1.5
    # The rim is told to a cell, to all sides alike.
    assert found.radius_mm == pytest.approx(160, abs=6)


def test_part_of_a_machine_is_placed_by_its_radius() -> None:
    whole = drawn(400, 250, 160, 90)
    known = seen_machine(whole > 40, frame(whole), None)
    assert known is not None
    share = drawn(-200, 300, 160, 90)
    found = seen_machine(share > 40, frame(share), known.radius_mm)
    assert found is not None
    assert not found.whole
    assert np.hypot(found.x_mm + 200, found.y_mm - 300) < 5


def test_a_machine_that_is_never_seen_whole_tells_its_radius_by_what_is_seen_of_it() -> None:
    share = drawn(-200, 300, 160, 90)
    found = seen_machine(share > 40, frame(share), None)
    assert found is not None
    assert not found.whole
    assert found.radius_mm == pytest.approx(160, abs=8)
    assert np.hypot(found.x_mm + 200, found.y_mm - 300) < 8


def test_a_cable_does_not_move_the_machine() -> None:
    share = drawn(400, 250, 160, 90)
    share[120:123, 170:] = 255
    found = seen_machine(share > 40, frame(share), 160.0)
    assert found is not None
    assert np.hypot(found.x_mm - 400, found.y_mm - 250) < 2


def test_a_machine_whose_side_has_the_floors_colour_is_placed_by_its_top() -> None:
    x, y = 850.0, 480.0
    top = CAMERA[:2] + (np.array([x, y]) - CAMERA[:2]) * CAMERA[2] / (CAMERA[2] - 90)
    share = drawn(float(top[0]), float(top[1]), 160 * CAMERA[2] / (CAMERA[2] - 90), 0)
    found = seen_machine(share > 40, frame(share), None)
    assert found is not None
    assert found.lid
    assert np.hypot(found.x_mm - x, found.y_mm - y) < 2
    as_a_whole = seen_machine(share > 40, frame(share), None, lid=False)
    assert as_a_whole is not None
    assert np.hypot(as_a_whole.x_mm - x, as_a_whole.y_mm - y) > 5


def test_small_things_and_nothing_are_no_machine() -> None:
    share = drawn(400, 250, 25, 0)
    assert seen_machine(share > 40, frame(share), 160.0) is None
    assert seen_machine(share > 999, frame(share), 160.0) is None


def test_a_square_thing_is_no_machine() -> None:
    share = np.zeros(GRID.shape, np.uint8)
    share[60:90, 80:180] = 255
