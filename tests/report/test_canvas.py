from dataclasses import replace

import cv2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from debriscount.report.canvas import SHIFT, fixed, floor_canvas, marking_colors
from debriscount.report.palette import distances, floor_colors
from debriscount.run.records import Measurement


def test_a_line_between_two_rows_darkens_both_alike() -> None:
    """*Independent*: OpenCV draws there."""
    image = np.full((9, 40), 255, np.uint8)
    ends = fixed(np.array([[2.0, 4.5], [37.0, 4.5]])).tolist()
    cv2.line(image, ends[0], ends[1], (0,), 1, cv2.LINE_AA, SHIFT)
    dark = 255.0 - image[:, 20]
    assert dark @ np.arange(9) / dark.sum() == pytest.approx(4.5, abs=0.13)


@given(st.integers(40, 2600), st.integers(30, 200))
def test_places_stay_where_they_are_at_any_size(run: Measurement, width: int, height: int) -> None:
    """A bright pixel's place on the floor is found again on the canvas to a pixel of the coarser of both."""
    grid = replace(run.grid, width_px=width, height_px=height)
    view = np.zeros((height, width, 3), np.uint8)
    row, column = height // 2, 2 * width // 3
    view[row, column] = 255
    canvas = floor_canvas(replace(run.shots[0], floor_view=view), replace(run, grid=grid))
    assert canvas.image.shape == (*canvas.grid.shape, 3)
    assert canvas.image.shape[1] <= 1600
    light = canvas.image[..., 0].astype(float)
    rows, columns = np.indices(light.shape)
    seen = np.array([(columns * light).sum(), (rows * light).sum()]) / light.sum()
    truth = canvas.to_px(np.array([[grid.x_mm()[column], grid.y_mm()[row]]]))[0]
    coarse = max(1.0, grid.mm_per_px / canvas.grid.mm_per_px)
    assert np.abs(seen - truth).max() <= 0.6 * coarse + 0.01


@pytest.mark.parametrize(
    ("width", "wanted"), [(100, 400), (300, 1200), (1199, 1200), (1200, 1200), (1600, 1600), (4000, 1600)]
)
def test_canvases_are_legible_and_cheap(run: Measurement, width: int, wanted: int) -> None:
    view = np.zeros((50, width, 3), np.uint8)
    grid = replace(run.grid, width_px=width, height_px=50)
    assert floor_canvas(replace(run.shots[0], floor_view=view), replace(run, grid=grid)).image.shape[1] == wanted


def test_the_canvas_is_a_copy(run: Measurement) -> None:
    canvas = floor_canvas(run.shots[0], run)
    before = run.shots[0].floor_view.copy()
    canvas.image[:] = 0
    assert (run.shots[0].floor_view == before).all()


def test_marks_stand_out_from_floor_debris_and_one_another(run: Measurement) -> None:
    colors, ground = marking_colors(run, 2)
    first = run.shots[0]
    others = [*floor_colors(first.floor_view, first.kind_map), *(kind.color_srgb for kind in run.kinds)]
    assert distances(colors, np.array(others, float)).min() > 20  # see TELLING in test_palette.py
    assert distances(colors[:1], colors[1:]).min() > 20
    assert ground == (150, 150, 148)
