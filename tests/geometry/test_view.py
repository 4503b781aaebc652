import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from debriscount.geometry.view import FOCAL_SHARE, FloorToPhoto, SeenCorners, fit_views, undistort
from debriscount.inputs.patch import Marker

SIZE_PX = (1600, 1200)
CENTER = (799.5, 599.5)
TILTED = np.array([[2.0, 0.1, 300.0], [-0.05, 2.1, 200.0], [5e-5, 1e-4, 1.0]])
FLOOR = np.concatenate(
    [Marker(0, place, 50.0).corners_mm() for place in ((-40, 30), (640, 30), (640, 420), (-40, 420), (300, 430))]
)


def camera(k1: float, homography: NDArray[np.float64] = TILTED) -> FloorToPhoto:
    return FloorToPhoto(homography, CENTER, FOCAL_SHARE * SIZE_PX[0], k1)


def seen(view: FloorToPhoto, sigma_px: float = 0.1, size_px: tuple[int, int] = SIZE_PX) -> SeenCorners:
    return SeenCorners(FLOOR, view.project(FLOOR), np.full(len(FLOOR), sigma_px), size_px)


def test_the_lens_term_moves_a_point_along_its_radius() -> None:
    # By hand: focal 1000 px, a point 500 px right of the centre, u = 0.5, k1 = 0.1: 1 + 0.1 * 0.25 = 1.025.
    view = FloorToPhoto(np.eye(3), (100.0, 50.0), 1000.0, 0.1)
    np.testing.assert_allclose(view.project(np.array([600.0, 50.0])), [612.5, 50.0])
    np.testing.assert_allclose(view.project(np.array([100.0, 50.0])), [100.0, 50.0])
    # Along the diagonal (300, 400) the radius is 500 px too.
    np.testing.assert_allclose(view.project(np.array([400.0, 450.0])), [407.5, 460.0])


def test_any_shape_of_places_is_projected_alike() -> None:
    view = camera(-0.03)
    places = np.arange(24.0).reshape(3, 4, 2)
    each = [[view.project(place) for place in row] for row in places]
    np.testing.assert_allclose(view.project(places), each)


def test_a_pixel_spans_more_floor_where_the_scale_is_smaller() -> None:
    # By hand: 2 px a mm along x and 0.5 along y is 1 px² a mm²; 4 px a mm both ways is 0.25 mm a pixel.
    stretched = FloorToPhoto(np.diag([2.0, 0.5, 1.0]), (0.0, 0.0), 1000.0, 0.0)
    assert stretched.mm_per_px(np.array([[7.0, 3.0]])) == pytest.approx([1.0])
    even = FloorToPhoto(np.diag([4.0, 4.0, 1.0]), (0.0, 0.0), 1000.0, 0.0)
    assert even.mm_per_px(np.array([[0.0, 0.0], [9.0, 9.0]])) == pytest.approx([0.25, 0.25])


@given(st.floats(-0.1, 0.1), st.floats(0, 1600), st.floats(0, 1200))
def test_undistort_undoes_the_lens_term(k1: float, column: float, row: float) -> None:
    view = FloorToPhoto(np.eye(3), CENTER, 1200.0, k1)
    flat = np.array([[column, row]])
    back = undistort(view.project(flat), np.array(CENTER), 1200.0, k1)
    np.testing.assert_allclose(back, flat, atol=1e-3)


def test_exact_corners_give_the_camera_back() -> None:
    fitted = fit_views([seen(camera(0.02))])
    # The prior pulls k1 a little towards 0.
    assert fitted.views[0].k1 == pytest.approx(0.02, abs=2e-4)
    places = np.array([[0.0, 0.0], [600.0, 400.0], [300.0, 200.0], [0.0, 400.0]])
    np.testing.assert_allclose(fitted.views[0].project(places), camera(0.02).project(places), atol=0.02)
    assert fitted.residual_mm[0] < 0.01
    assert np.abs(fitted.residuals[0]).max() < 0.02


def test_a_lens_that_is_left_out_would_show() -> None:
    # The test above is worth something only if k1 = 0.02 moves corners by much more than its tolerance.
    moved = camera(0.02).project(FLOOR) - camera(0.0).project(FLOOR)
    assert np.abs(moved).max() > 5


def test_shots_of_one_camera_share_the_lens_term() -> None:
    other = np.array([[1.7, -0.2, 500.0], [0.1, 1.8, 250.0], [-4e-5, 6e-5, 1.0]])
    fitted = fit_views([seen(camera(-0.04)), seen(camera(-0.04, other))])
    assert fitted.views[0].k1 == fitted.views[1].k1 == pytest.approx(-0.04, abs=2e-4)
    for view, truth in zip(fitted.views, (camera(-0.04), camera(-0.04, other)), strict=True):
        np.testing.assert_allclose(view.project(FLOOR), truth.project(FLOOR), atol=0.02)


def test_shots_of_two_sizes_have_a_lens_term_each_and_keep_their_order() -> None:
    small_size = (800, 600)
    small = FloorToPhoto(TILTED * np.array([[0.5], [0.5], [1.0]]), (399.5, 299.5), FOCAL_SHARE * 800, 0.03)
    shots = [seen(camera(-0.03)), seen(small, size_px=small_size), seen(camera(-0.03))]
    fitted = fit_views(shots)
    assert [view.center_px for view in fitted.views] == [CENTER, (399.5, 299.5), CENTER]
    assert [view.k1 for view in fitted.views] == pytest.approx([-0.03, 0.03, -0.03], abs=3e-4)


def test_a_displaced_marker_is_seen_in_its_own_residuals() -> None:
    shot = seen(camera(0.0))
    moved = shot.floor_mm.copy()
    moved[16:] += (6.0, 0.0)
    fitted = fit_views([SeenCorners(moved, shot.photo_px, shot.sigma_px, SIZE_PX)])
    each = np.sqrt((fitted.residuals[0] ** 2).sum(axis=1)).reshape(5, 4).mean(axis=1)
    assert each.argmax() == 4
    assert fitted.residual_mm[0] > 0.5


def test_markers_laid_at_random_do_not_pass_for_a_lens() -> None:
    """Markers off by 8 mm though each corner is sharp to 0.02 px: their scatter is the weight, so the prior holds.

    Root mean square of k1 over 40 layouts: 0.066; were corners trusted to 0.02 px, it would be 0.104.
    """
    rng = np.random.default_rng(3)
    found = []
    for _ in range(40):
        shot = seen(camera(0.0), sigma_px=0.02)
        askew = shot.floor_mm + np.repeat(rng.normal(0, 8, (5, 2)), 4, axis=0)
        found.append(fit_views([SeenCorners(askew, shot.photo_px, shot.sigma_px, SIZE_PX)]).views[0].k1)
    assert float(np.sqrt(np.mean(np.square(found)))) < 0.08


def test_a_corner_known_badly_counts_for_little() -> None:
    shot = seen(camera(0.0))
    pixels, sigma = shot.photo_px.copy(), shot.sigma_px.copy()
    pixels[16:] += 2.0
    sigma[16:] = 20.0
    fitted = fit_views([SeenCorners(FLOOR, pixels, sigma, SIZE_PX)])
    assert np.abs(fitted.residuals[0][:16]).max() < 0.2
    assert np.abs(fitted.residuals[0][16:]).min() > 1.5
