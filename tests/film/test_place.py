"""Markers watched: shifts to a fraction of a pixel, and markers that are hidden."""

import cv2
import numpy as np
import pytest

from debriscount.film.place import Place, Watched

CORNERS = np.array([[100, 80], [140, 80], [140, 120], [100, 120]], float)


def picture(dx: float = 0.0, dy: float = 0.0) -> np.ndarray:
    image = np.full((200, 260, 3), 190, np.uint8)
    marker = cv2.aruco.generateImageMarker(cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50), 3, 40)
    image[80:120, 100:140] = marker[..., None]
    soft = cv2.GaussianBlur(image, (0, 0), 1.0)
    return np.asarray(cv2.warpAffine(soft, np.array([[1, 0, dx], [0, 1, dy]]), (260, 200), borderValue=(190, 190, 190)))


@pytest.mark.parametrize(("dx", "dy"), [(0.0, 0.0), (0.6, -0.4), (2.0, 1.5)])
def test_a_shift_is_told_to_a_third_of_a_pixel(dx: float, dy: float) -> None:
    shift = Watched.of(picture(), CORNERS).shift_px(picture(dx, dy))
    assert shift is not None
    assert shift == pytest.approx([dx, dy], abs=0.34)


def test_a_hidden_marker_is_not_seen() -> None:
    covered = picture()
    covered[60:160, 80:170] = 40
    assert Watched.of(picture(), CORNERS).shift_px(covered) is None


def test_a_place_tells_how_far_its_markers_moved() -> None:
    from debriscount.camera.lens import Lens
    from debriscount.camera.view import FloorToPhoto

    view = FloorToPhoto(np.eye(3), Lens((130.0, 100.0), (200.0, 200.0), (0.0, 0.0, 0.0)))
    place = Place(view, {3: Watched.of(picture(), CORNERS)})
    assert place.off_px(picture()) == pytest.approx(0, abs=0.01)
    assert place.off_px(picture(0.8, 0.0)) == pytest.approx(0.8, abs=0.34)
    assert place.off_px(np.full((200, 260, 3), 30, np.uint8)) is None
