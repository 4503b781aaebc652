"""Plane, lens and markers against OpenCV's projection and against a homography worked out by hand."""

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from debriscount.camera.fit import FOCAL_SHARE, SeenCorners, fit_views
from debriscount.camera.lens import Lens
from debriscount.camera.view import FloorToPhoto
from debriscount.inputs.patch import Marker
from debriscount.markers.find_markers import find_markers

SIZE_PX = (2000, 1500)
CENTER = ((SIZE_PX[0] - 1) / 2, (SIZE_PX[1] - 1) / 2)
PLACES = np.stack(np.meshgrid(np.linspace(-50, 650, 15), np.linspace(-50, 450, 11)), axis=-1).reshape(-1, 2)
MARKERS = [Marker(n, place, 50.0) for n, place in enumerate([(-40, 30), (640, 30), (640, 430), (-40, 430), (300, 440)])]
CORNERS = np.concatenate([marker.corners_mm() for marker in MARKERS])


def pose(tilt_deg: float, turn_deg: float = 7.0) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Rotation vector and translation of a camera 900 mm above the patch's centre (300, 200), looking at it."""
    tilt, turn = np.radians(tilt_deg), np.radians(turn_deg)
    about_x = np.array([[1, 0, 0], [0, np.cos(tilt), -np.sin(tilt)], [0, np.sin(tilt), np.cos(tilt)]])
    about_z = np.array([[np.cos(turn), -np.sin(turn), 0], [np.sin(turn), np.cos(turn), 0], [0, 0, 1]])
    rotation = about_x @ about_z
    translation = np.array([0.0, 0.0, 900.0]) - rotation @ np.array([300.0, 200.0, 0.0])
    return np.asarray(cv2.Rodrigues(rotation)[0], float), translation


def camera_matrix(focal_px: float) -> NDArray[np.float64]:
    return np.array([[focal_px, 0, CENTER[0]], [0, focal_px, CENTER[1]], [0, 0, 1]])


def projected(xy_mm: NDArray[np.float64], tilt_deg: float, focal_px: float, k1: float) -> NDArray[np.float64]:
    """OpenCV's own projection of floor places (*independent*, OpenCV 5.0)."""
    flat = np.concatenate([xy_mm, np.zeros((len(xy_mm), 1))], axis=1)
    pixels, _ = cv2.projectPoints(flat, *pose(tilt_deg), camera_matrix(focal_px), np.array([k1, 0.0, 0.0, 0.0]))
    return np.asarray(pixels, float).reshape(-1, 2)


def view_of(tilt_deg: float, focal_px: float, k1: float) -> FloorToPhoto:
    """The same camera in our terms: the plane z = 0 is seen through K [r1 r2 t]."""
    vector, translation = pose(tilt_deg)
    rotation = np.asarray(cv2.Rodrigues(vector)[0], float)
    homography = camera_matrix(focal_px) @ np.column_stack([rotation[:, 0], rotation[:, 1], translation])
    return FloorToPhoto(homography, Lens(CENTER, (focal_px, focal_px), (k1, 0.0, 0.0)))


@pytest.mark.parametrize("k1", [0.0, 0.03, -0.08])
@pytest.mark.parametrize("tilt_deg", [0.0, 12.0, 30.0])
def test_projection_is_opencvs(tilt_deg: float, k1: float) -> None:
    expected = projected(PLACES, tilt_deg, 1600.0, k1)
    np.testing.assert_allclose(view_of(tilt_deg, 1600.0, k1).project(PLACES), expected, atol=1e-6)


def test_scale_is_that_of_opencvs_derivatives() -> None:
    """Floor millimetres a pixel from OpenCV's projection of a square of 0.2 mm."""
    view = view_of(20.0, 1600.0, 0.03)
    for x, y in ((0.0, 0.0), (600.0, 0.0), (300.0, 200.0), (600.0, 400.0)):
        square = np.array([[x - 0.1, y - 0.1], [x + 0.1, y - 0.1], [x + 0.1, y + 0.1], [x - 0.1, y + 0.1]])
        corners = projected(square, 20.0, 1600.0, 0.03)
        a, b = corners[2] - corners[0], corners[3] - corners[1]
        area_px2 = 0.5 * abs(a[0] * b[1] - a[1] * b[0])
        assert view.mm_per_px(np.array([[x, y]]))[0] == pytest.approx(np.sqrt(0.04 / area_px2), rel=1e-4)


@pytest.mark.parametrize("focal_px", [FOCAL_SHARE * SIZE_PX[0], 2400.0])
@pytest.mark.parametrize("k1", [0.0, 0.04, -0.06])
def test_fitting_recovers_the_camera_from_its_corners(k1: float, focal_px: float) -> None:
    """Exact corners of two shots. Of a camera of another focal length k1 comes out scaled; places do not."""
    shots = [
        SeenCorners(CORNERS, projected(CORNERS, tilt, focal_px, k1), np.full(20, 0.02), SIZE_PX) for tilt in (3.0, 15.0)
    ]
    fitted = fit_views(shots)
    for view, tilt in zip(fitted.views, (3.0, 15.0), strict=True):
        # Half a hundredth of a pixel between the markers: the prior on k1 still pulls a little.
        np.testing.assert_allclose(view.project(PLACES), projected(PLACES, tilt, focal_px, k1), atol=0.02)
        assert view.lens.k1 == pytest.approx(k1 * (FOCAL_SHARE * SIZE_PX[0] / focal_px) ** 2, abs=1e-4)


def test_homography_of_a_plane_by_hand() -> None:
    """Unit square to (0,0) (4,0) (3,2) (1,2): H = [[4,2,0],[0,4,0],[0,1,1]]; its centre to (2, 4/3).

    Area scale det H / w³ is 16 along the near side and 2 along the far one, so a pixel spans 1/4 and 1/sqrt 2.
    Places are in units of 100 mm, for the scale is taken over a millimetre.
    """
    by_hand = np.array([[4.0, 2.0, 0.0], [0.0, 4.0, 0.0], [0.0, 1.0, 1.0]]) @ np.diag([0.01, 0.01, 1.0])
    view = FloorToPhoto(by_hand, Lens((2.0, 1.0), (1.0, 1.0)))
    square = np.array([[0.0, 0.0], [100.0, 0.0], [100.0, 100.0], [0.0, 100.0]])
    np.testing.assert_allclose(view.project(square), [[0, 0], [4, 0], [3, 2], [1, 2]], atol=1e-12)
    np.testing.assert_allclose(view.project(np.array([50.0, 50.0])), [2, 4 / 3])
    scale = view.mm_per_px(np.array([[50.0, 0.0], [50.0, 100.0]])) / 100
    np.testing.assert_allclose(scale, [1 / 4, 1 / np.sqrt(2)], rtol=1e-3)


FINER = 8


def printed(quad: NDArray[np.float64], number: int, blur_px: float, size_px: tuple[int, int]) -> NDArray[np.uint8]:
    """OpenCV's drawing of a marker warped to sub-pixel corners, sampled by area, blurred in linear light.

    ``quad`` holds the corners of the black square: pixel centres lie at whole numbers.
    """
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    modules = np.pad(cv2.aruco.generateImageMarker(dictionary, number, 6), 1, constant_values=255)
    cells = 32
    sheet = np.kron(np.where(modules > 127, 0.8, 0.03), np.ones((cells, cells))).astype(np.float32)
    # The black square spans cells 1 to 7; its border lies half a pixel outside its outermost pixels' centres.
    low, high = cells - 0.5, 7 * cells - 0.5
    source = np.array([[low, low], [high, low], [high, high], [low, high]], np.float32)
    target = ((quad + 0.5) * FINER - 0.5).astype(np.float32)
    fine = cv2.warpPerspective(
        sheet,
        cv2.getPerspectiveTransform(source, target),
        (size_px[0] * FINER, size_px[1] * FINER),
        flags=cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_CONSTANT,
        borderValue=(0.8, 0, 0, 0),
    )
    light = cv2.resize(fine, size_px, interpolation=cv2.INTER_AREA)
    if blur_px > 0:
        light = cv2.GaussianBlur(light, (0, 0), blur_px)
    encoded = np.where(light <= 0.0031308, light * 12.92, 1.055 * np.maximum(light, 0) ** (1 / 2.4) - 0.055)
    return np.repeat(np.round(255 * encoded).astype(np.uint8)[..., None], 3, axis=2)


QUADS = [
    np.array([[60.3, 50.7], [160.3, 50.7], [160.3, 150.7], [60.3, 150.7]]),
    np.array([[71.15, 42.4], [168.9, 63.25], [148.05, 161.0], [50.3, 140.15]]),
    np.array([[60.9, 58.2], [150.4, 50.1], [162.7, 158.6], [52.2, 146.3]]),
]


def side(corners: NDArray[np.float64]) -> float:
    return float(np.linalg.norm(corners - np.roll(corners, -1, axis=0), axis=1).mean())


@pytest.mark.parametrize("quad", QUADS, ids=["upright", "turned", "oblique"])
@pytest.mark.parametrize("blur_px", [0.0, 0.7, 1.0, 1.5])
def test_markers_are_found_to_a_tenth_of_a_pixel(quad: NDArray[np.float64], blur_px: float) -> None:
    found = find_markers(printed(quad, 7, blur_px, (220, 210)), {7})
    np.testing.assert_allclose(found[7].corners_px, quad, atol=0.1)
    # No bias of the side either: 1 % of it is what unrefined corners lose.
    assert side(found[7].corners_px) == pytest.approx(side(quad), rel=1e-3)


@pytest.mark.parametrize("quad", QUADS, ids=["upright", "turned", "oblique"])
def test_the_detectors_own_corners_are_worse(quad: NDArray[np.float64]) -> None:
    """What the refinement is for: OpenCV's corners of the same pictures make the side about 1 % too small."""
    pixels = printed(quad, 7, 1.0, (220, 210))
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    corners, _, _ = cv2.aruco.ArucoDetector(dictionary).detectMarkers(pixels[..., 0])
    raw = np.reshape(corners[0], (4, 2)).astype(float)
    assert side(raw) < 0.995 * side(quad)
    assert np.abs(raw - quad).max() > 0.3
