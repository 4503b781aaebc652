import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from debriscount.camera.lens import Lens
from debriscount.camera.view import FloorToPhoto

CENTER = (799.5, 599.5)
TILTED = np.array([[2.0, 0.1, 300.0], [-0.05, 2.1, 200.0], [5e-5, 1e-4, 1.0]])
PLAIN = Lens((0.0, 0.0), (1000.0, 1000.0))


def camera(k1: float) -> FloorToPhoto:
    return FloorToPhoto(TILTED, Lens(CENTER, (1200.0, 1200.0), (k1, 0.0, 0.0)))


def test_any_shape_of_places_is_projected_alike() -> None:
    view = camera(-0.03)
    places = np.arange(24.0).reshape(3, 4, 2)
    each = [[view.project(place) for place in row] for row in places]
    np.testing.assert_allclose(view.project(places), each)
    np.testing.assert_allclose(view.floor_mm(view.project(places)), places, atol=1e-9)


@given(st.floats(-0.1, 0.1), st.floats(0, 600), st.floats(0, 400))
def test_floor_places_come_back_from_their_pixels(k1: float, x: float, y: float) -> None:
    view = camera(k1)
    np.testing.assert_allclose(view.floor_mm(view.project(np.array([[x, y]]))), [[x, y]], atol=1e-8)


def test_a_pixel_spans_more_floor_where_the_scale_is_smaller() -> None:
    # By hand: 2 px a mm along x and 0.5 along y is 1 px² a mm²; 4 px a mm both ways is 0.25 mm a pixel.
    stretched = FloorToPhoto(np.diag([2.0, 0.5, 1.0]), PLAIN)
    assert stretched.mm_per_px(np.array([[7.0, 3.0]])) == pytest.approx([1.0])
    even = FloorToPhoto(np.diag([4.0, 4.0, 1.0]), PLAIN)
    assert even.mm_per_px(np.array([[0.0, 0.0], [9.0, 9.0]])) == pytest.approx([0.25, 0.25])


def test_derivatives_of_a_view_by_hand() -> None:
    # x' = 2 x + 0.5 y, y' = -y without a lens term.
    view = FloorToPhoto(np.array([[2.0, 0.5, 9.0], [0.0, -1.0, 7.0], [0.0, 0.0, 1.0]]), PLAIN)
    np.testing.assert_allclose(view.px_per_mm(np.array([[3.0, 4.0]])), [[[2.0, 0.5], [0.0, -1.0]]], atol=1e-9)
