"""What is in the way, on cells painted here: a machine, its shadow, a hand of nearly the floor's colour, debris."""

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from debriscount.camera.lens import Lens
from debriscount.camera.view import FloorToPhoto
from debriscount.film.floor import KnownFloor
from debriscount.film.hidden import Search, Standing
from debriscount.film.maps import Cells
from debriscount.film.place import Place
from debriscount.photo.colour import srgb_pixels
from debriscount.registration.grid import FloorGrid

CELLS = FloorGrid(2.5, 2.5, 5.0, 120, 160)
FLOOR = np.array([0.42, 0.30, 0.19], np.float32)
DEBRIS = np.array([0.45, 0.12, 0.05], np.float32)


def known() -> KnownFloor:
    grid = FloorGrid(1.0, 1.0, 2.0, 300, 400)
    lens = Lens((400.0, 300.0), (800.0, 800.0), (0.0, 0.0, 0.0))
    return KnownFloor(
        grid=grid,
        bare=np.broadcast_to(FLOOR, (*grid.shape, 3)).copy(),
        usable=np.ones(grid.shape, bool),
        filters=(),
        full=(),
        colours=DEBRIS[None].astype(float),
        kinds=(),
        start=Place(FloorToPhoto(np.eye(3), lens), {}),
        lens=lens,
        background_mm2=np.zeros(1),
        background_mm4=np.zeros(1),
        either_mm2=0.0,
        warnings=(),
    )


def floor(load: float = 0.0) -> NDArray[np.float32]:
    light = np.broadcast_to(FLOOR, (*CELLS.shape, 3)).copy()
    rng = np.random.default_rng(1)
    share = (rng.random(CELLS.shape) < load) * rng.uniform(0.3, 0.9, CELLS.shape)
    light += share[..., None].astype(np.float32) * (DEBRIS - FLOOR)
    return light


def as_cells(light: NDArray[np.float32], exposure: float = 1.0) -> Cells:
    noise = np.random.default_rng(2).normal(1, 0.01, light.shape).astype(np.float32)
    return Cells(srgb_pixels(light * noise * np.float32(exposure)), np.ones(CELLS.shape, bool))


def disc(x: int, y: int, radius: int) -> NDArray[np.bool_]:
    return np.asarray(cv2.circle(np.zeros(CELLS.shape, np.uint8), (x, y), radius, (1,), cv2.FILLED) > 0)


def look(light: NDArray[np.float32], exposure: float = 1.0) -> Standing:
    return Search(known(), CELLS, as_cells(floor(0.08)), as_cells(floor(0.0))).standing(as_cells(light, exposure))


@pytest.mark.parametrize("exposure", [1.0, 0.7, 1.3])
def test_floor_with_debris_is_free_in_any_exposure(exposure: float) -> None:
    found = look(floor(0.08), exposure)
    assert not found.thing.any()
    assert not found.hidden.any()
    assert found.gain == pytest.approx(np.full(3, 1 / exposure), rel=0.02)


@pytest.mark.parametrize("color", [(0.03, 0.03, 0.035), (0.85, 0.85, 0.83), tuple(DEBRIS.tolist())])
def test_a_machine_of_any_colour_is_a_thing(color: tuple[float, float, float]) -> None:
    light, body = floor(0.08), disc(80, 60, 30)
    light[body] = color
    found = look(light)
    assert found.hidden[body].all()
    core, around = disc(80, 60, 27), disc(80, 60, 52)  # debris beside a machine counts as its rim
    assert found.thing[core].all()
    assert not found.hidden[~around].any()


def test_a_shadow_is_hidden_and_no_thing() -> None:
    light, shade = floor(0.0), disc(100, 60, 20)
    light[shade] *= 0.5
    found = look(light)
    assert found.hidden[shade].all()
    assert not found.thing.any()


def test_a_hand_of_nearly_the_floors_colour_is_seen_by_being_so_all_over() -> None:
    light = floor(0.04)
    light[70:, 60:80] = FLOOR * np.array([1.02, 0.875, 1.12], np.float32)
    found = look(light)
    assert found.hidden[76:115, 64:76].all()


def test_a_heap_that_lay_there_from_the_start_hides_nothing() -> None:
    light = floor(0.02)
    light[40:52, 40:52] = FLOOR + 0.8 * (DEBRIS - FLOOR)
    first = as_cells(light)
    found = Search(known(), CELLS, first, as_cells(floor(0.0))).standing(as_cells(light))
    assert not found.hidden.any()


def test_a_hole_in_a_thing_is_hidden_as_well() -> None:
    light = floor(0.0)
    light[disc(80, 60, 30)] = 0.03
    light[disc(80, 60, 8)] = FLOOR
    found = look(light)
    assert found.hidden[disc(80, 60, 8)].all()
    assert found.thing[disc(80, 60, 8)].all()
