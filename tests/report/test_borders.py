from dataclasses import replace

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from debriscount.inputs.patch import MARGIN, OUTSIDE, WALL_SIDES, NotFloor, Patch
from debriscount.layout.lay_patch import lay_patch
from debriscount.registration.grid import FloorGrid
from debriscount.report.borders import DASH, GAP, Border, Stroke, borders, draw_borders, draw_strokes
from debriscount.report.palette import DARK, LIGHT
from debriscount.run.records import Measurement


def _drawn(patch: Patch, grid: FloorGrid, unit: int = 1) -> NDArray[np.uint8]:
    image = np.full((*grid.shape, 3), 150, np.uint8)
    draw_borders(image, patch, grid, unit, (LIGHT, DARK))
    return image


def test_borders_of_a_patch_with_two_walls_are_these(run: Measurement) -> None:
    assert {(b.upright, b.at_mm, b.start_mm, b.end_mm) for b in borders(run.patch) if b.style == "zone"} == {
        (True, 20.0, 0.0, 20.0),  # right side of the corner
        (False, 20.0, 0.0, 20.0),  # its lower side
        (False, 10.0, 20.0, 100.0),  # edge strip along the top
        (True, 10.0, 20.0, 80.0),  # edge strip along the left
        (True, 112.0, 0.0, 92.0),  # end of the margin
        (False, 92.0, 0.0, 112.0),
        (True, 0.0, 80.0, 92.0),  # the margin's ends at the walls
        (False, 0.0, 100.0, 112.0),
    }
    assert {(b.upright, b.at_mm, b.start_mm, b.end_mm) for b in borders(run.patch) if b.style == "patch"} == {
        (True, 0.0, 0.0, 80.0),
        (True, 100.0, 0.0, 80.0),
        (False, 0.0, 0.0, 100.0),
        (False, 80.0, 0.0, 100.0),
    }


@given(
    st.sets(st.sampled_from(WALL_SIDES)),
    st.floats(0, 40),
    st.floats(0, 40),
    st.sampled_from([0.0, 12.0]),
)
def test_zones_differ_across_every_border(
    run: Measurement, walls: set[str], edge: float, corner: float, margin: float
) -> None:
    edge, corner = round(edge, 1), round(corner, 1)
    patch = replace(run.patch, walls=tuple(sorted(walls)), edge_mm=edge, corner_mm=corner, margin_mm=margin)
    for border in borders(patch):
        along = np.linspace(border.start_mm, border.end_mm, 11)[1:-1] + 0.003
        for_both = [_codes(patch, border, along, side) for side in (-0.01, 0.01)]
        assert (for_both[0] != for_both[1]).all()
        inside = [np.isin(codes, (MARGIN, OUTSIDE), invert=True) for codes in for_both]
        assert ((inside[0] != inside[1]) == (border.style == "patch")).all()


def _codes(patch: Patch, border: Border, along: NDArray[np.float64], side: float) -> NDArray[np.int8]:
    across = np.full_like(along, border.at_mm + side)
    return patch.zone_codes(across, along) if border.upright else patch.zone_codes(along, across)


def test_a_zone_border_is_dashed_where_the_zone_ends(run: Measurement) -> None:
    image = _drawn(run.patch, run.grid)
    # x = 10 mm is the line between the pixels of columns 139 and 140: (10 − (−3.95)) / 0.1 = 139.5.
    row = run.grid.to_px(np.array([[10.0, 30.0]]))[0, 1].astype(int)
    core = image[row : row + 10 * (DASH + GAP), 139:141]
    light = (core == LIGHT).all(axis=2).all(axis=1)
    assert 0.5 < light.mean() < 0.7  # 12 of 20
    assert (image[row : row + 200, [138, 141]][light] == DARK).all()
    assert (image[row : row + 200, [137, 142]] == 150).all()


def test_the_patch_border_is_solid(run: Measurement) -> None:
    image = _drawn(run.patch, run.grid)
    column, row = run.grid.to_px(np.array([100.0, 80.0])).tolist()
    assert (image[40 : int(row), round(column + 0.5) - 1 : round(column + 0.5) + 1] == LIGHT).all()
    assert (image[round(row + 0.5) - 1 : round(row + 0.5) + 1, 40 : int(column)] == LIGHT).all()


def test_a_border_at_the_rim_of_the_view_is_drawn_whole(run: Measurement) -> None:
    patch = replace(run.patch, margin_mm=0.0, walls=())
    grid = FloorGrid(0.05, 0.05, 0.1, 800, 1000)  # the view ends where the patch ends
    image = _drawn(patch, grid)
    for line in (
        image[:4].swapaxes(0, 1),
        image[-4:][::-1].swapaxes(0, 1),
        image[:, :4],
        image[:, -4:][:, ::-1],
    ):
        assert (line[100:-100] == np.array([DARK, LIGHT, LIGHT, DARK])).all()


def test_a_border_outside_of_the_view_leaves_it_alone() -> None:
    image = np.full((50, 50, 3), 150, np.uint8)
    draw_strokes(image, [Stroke(True, 25.0, -90.0, -20.0)], 1, (LIGHT, DARK), dashed=True)
    assert (image == 150).all()


def test_a_zone_of_ones_own_is_dotted(run: Measurement) -> None:
    image = _drawn(run.patch, run.grid)
    x, y = np.rint(run.grid.to_px(np.array([60.0, 50.0]))).astype(int)
    line = (image[y : y + 200, x] == LIGHT).all(axis=1)
    assert 0.2 < line.mean() < 0.7
    assert np.diff(line.astype(int)).clip(0).sum() > 20  # many separate dots


def test_what_is_no_floor_is_hatched_and_cuts_no_border() -> None:
    thing = NotFloor("cupboard", ((100.0, 100.0), (300.0, 100.0), (300.0, 250.0), (100.0, 250.0)))
    bare = lay_patch(600, 400)
    patch = replace(bare, not_floor=(thing,))
    assert borders(patch) == borders(bare)
    image = np.full((400, 600, 3), 30, np.uint8)
    draw_borders(image, patch, FloorGrid(0.5, 0.5, 1.0, 400, 600), 2, ((0, 0, 0), (255, 255, 255)))
    inside = image[110:240, 110:290]
    assert set(np.unique(inside)) == {120, 205}
    assert (image[260:390, 320:590] == 30).all()
