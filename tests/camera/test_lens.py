import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from debriscount.camera.lens import SQUEEZED, Lens

SIZE_PX = (1600, 1200)
# Of OpenCV's published chessboard photos (left_intrinsics.yml), for a photo of this size.
LENS = Lens((855.0, 588.0), (1340.0, 1338.0), (-0.266, -0.0386, 0.238), (0.00178, -0.00028))

radial = st.tuples(st.floats(-0.4, 0.4), st.floats(-0.3, 0.3), st.floats(-0.3, 0.3))
lenses = st.builds(
    Lens,
    st.tuples(st.floats(780, 820), st.floats(580, 620)),
    st.tuples(st.floats(1000, 1600), st.floats(1000, 1600)),
    radial,
    st.tuples(st.floats(-2e-3, 2e-3), st.floats(-2e-3, 2e-3)),
)


def opencvs(lens: Lens) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Camera matrix and distortion coefficients in OpenCV's order."""
    (fx, fy), (cx, cy) = lens.focal_px, lens.center_px
    k1, k2, k3 = lens.radial
    return np.array([[fx, 0, cx], [0, fy, cy], [0, 0, 1]]), np.array([k1, k2, *lens.tangential, k3])


def frame() -> NDArray[np.float64]:
    return np.stack(np.meshgrid(np.linspace(0, 1599, 17), np.linspace(0, 1199, 13)), axis=-1)


def test_the_model_is_opencvs() -> None:
    """*Independent*: OpenCV 5.0's projectPoints and undistortPoints."""
    matrix, coefficients = opencvs(LENS)
    flat = frame().reshape(-1, 2)
    rays = np.column_stack([(flat - LENS.center_px) / LENS.focal_px, np.ones(len(flat))])
    seen, _ = cv2.projectPoints(rays, np.zeros(3), np.zeros(3), matrix, coefficients)
    np.testing.assert_allclose(LENS.distort(flat), np.reshape(seen, (-1, 2)), atol=1e-8)
    criteria = (cv2.TERM_CRITERIA_COUNT + cv2.TERM_CRITERIA_EPS, 200, 1e-14)
    back = cv2.undistortPoints(flat[:, None], matrix, coefficients, None, None, matrix, criteria)
    np.testing.assert_allclose(LENS.undistort(flat), np.reshape(back, (-1, 2)), atol=1e-6)


def test_the_lens_term_moves_a_point_along_its_radius() -> None:
    # By hand: focal 1000 px, a point 500 px right of the centre, u = 0.5, k1 = 0.1: 1 + 0.1 * 0.25 = 1.025.
    lens = Lens((100.0, 50.0), (1000.0, 1000.0), (0.1, 0.0, 0.0))
    np.testing.assert_allclose(lens.distort(np.array([600.0, 50.0])), [612.5, 50.0])
    np.testing.assert_allclose(lens.distort(np.array([100.0, 50.0])), [100.0, 50.0])
    # Along the diagonal (300, 400) the radius is 500 px too.
    np.testing.assert_allclose(lens.distort(np.array([400.0, 450.0])), [407.5, 460.0])


@settings(max_examples=20)
@given(lenses)
def test_undistort_undoes_distort_all_over_the_photo_and_far_beyond(lens: Lens) -> None:
    for pixels in (frame(), 2 * frame() - (800, 600)):
        np.testing.assert_allclose(lens.undistort(lens.distort(pixels)), pixels, atol=1e-6)
        np.testing.assert_allclose(lens.distort(lens.undistort(pixels)), pixels, atol=1e-6)


@given(radial)
def test_no_two_places_share_a_pixel(terms: tuple[float, float, float]) -> None:
    lens = Lens((0.0, 0.0), (1.0, 1.0), terms)
    out = np.linspace(0, 5, 2001)
    there = lens.distort(np.stack([out, np.zeros_like(out)], axis=-1))[:, 0]
    assert (np.diff(there) >= 0.999 * SQUEEZED * np.diff(out)).all()


def test_where_a_lens_folds_over_is_known() -> None:
    # By hand: 1 - 0.9 r² falls to 0.1 at r = 1. There the radius is 0.7, and on it goes by a tenth.
    lens = Lens((0.0, 0.0), (1.0, 1.0), (-0.3, 0.0, 0.0))
    assert lens.reach == pytest.approx(1.0)
    np.testing.assert_allclose(lens.distort(np.array([[1.0, 0.0], [3.0, 0.0]]))[:, 0], [0.7, 0.9])
    assert Lens((0.0, 0.0), (1.0, 1.0)).reach == np.inf
    assert Lens((0.0, 0.0), (1.0, 1.0), (0.2, 0.1, 0.0)).reach == np.inf


def test_tangential_terms_without_sense_are_nan_not_wrong() -> None:
    lens = Lens((0.0, 0.0), (1.0, 1.0), tangential=(3.0, -3.0))
    back = lens.undistort(np.array([[0.01, 0.0], [-5.0, 5.0]]))
    np.testing.assert_allclose(lens.distort(back[:1]), [[0.01, 0.0]], atol=1e-9)
    assert np.isnan(back[1]).all()


@given(lenses)
def test_slopes_are_the_derivatives(lens: Lens) -> None:
    step = 1e-3
    pixels = frame()
    ahead = [lens.distort(pixels + d) - lens.distort(pixels - d) for d in step * np.eye(2)]
    np.testing.assert_allclose(lens.slopes(pixels), np.stack(ahead, axis=-1) / (2 * step), atol=1e-5)


@given(lenses, st.sampled_from([0, 90, 180, 270]))
def test_turning_the_lens_turns_what_it_shows(lens: Lens, degrees: int) -> None:
    def turn(pixels: NDArray[np.float64], size_px: tuple[int, int]) -> NDArray[np.float64]:
        """By a quarter clockwise, as numpy's rot90 with k = -1 does."""
        return np.stack([size_px[1] - 1 - pixels[..., 1], pixels[..., 0]], axis=-1)

    flat, seen, size = frame(), lens.distort(frame()), SIZE_PX
    for _ in range(degrees // 90):
        flat, seen, size = turn(flat, size), turn(seen, size), (size[1], size[0])
    np.testing.assert_allclose(lens.turned(degrees, SIZE_PX).distort(flat), seen, atol=1e-8)


def test_pixels_turn_as_numpy_turns_them() -> None:
    """*Independent*: a bright pixel at the principal point stays there when the photo is turned."""
    photo = np.zeros((12, 16))
    photo[3, 10] = 1
    lens = Lens((10.0, 3.0), (20.0, 21.0))
    for degrees in (90, 180, 270):
        turned = np.rot90(photo, -degrees // 90)
        column, row = lens.turned(degrees, (16, 12)).center_px
        assert turned[int(row), int(column)] == 1


@given(lenses)
def test_four_quarters_are_none(lens: Lens) -> None:
    size, turned = SIZE_PX, lens
    for _ in range(4):
        turned, size = turned.turned(90, size), (size[1], size[0])
    assert turned.radial == lens.radial
    assert turned.tangential == lens.tangential
    assert turned.focal_px == lens.focal_px
    assert turned.center_px == pytest.approx(lens.center_px, abs=1e-9)
    assert lens.turned(270, SIZE_PX) == lens.turned(-90, SIZE_PX)


@given(lenses, st.floats(0.2, 3))
def test_a_larger_photo_shows_the_same(lens: Lens, share: float) -> None:
    def larger(pixels: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.asarray((pixels + 0.5) * share - 0.5)

    np.testing.assert_allclose(lens.scaled(share).distort(larger(frame())), larger(lens.distort(frame())), atol=1e-7)
