"""The paper around printed squares: painted photos."""

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from debriscount.markers.white import paper_colour

CORNERS = np.array([[100.0, 100.0], [160.0, 104.0], [157.0, 163.0], [98.0, 160.0]])

LOWER = CORNERS + np.array([0.0, 120.0])


def photo(paper: tuple[int, int, int], corners: NDArray[np.float64] = CORNERS) -> NDArray[np.uint8]:
    """A black square with its paper on a brown floor, sRGB."""
    picture = np.full((300, 400, 3), (120, 90, 60), np.uint8)
    centre = corners.mean(axis=0)
    for factor, colour in ((1.4, paper), (1.0, (20, 20, 20))):
        quad = np.round(centre + (corners - centre) * factor).astype(np.int32)
        cv2.fillConvexPoly(picture, quad, colour)
    return picture


def test_warm_light_is_seen_on_the_paper() -> None:
    found = paper_colour(photo((250, 220, 170)), [CORNERS])
    assert found is not None
    # By the sRGB curve of IEC 61966-2-1: ((250/255 + 0.055) / 1.055)^2.4 and so on.
    assert found.tolist() == pytest.approx([0.956, 0.716, 0.402], abs=0.002)


def test_the_middle_of_several_squares_is_taken() -> None:
    grey, white = photo((128, 128, 128)), photo((250, 250, 250), LOWER)
    both = np.where((np.arange(300) < 190)[:, None, None], grey, white).astype(np.uint8)
    found = paper_colour(both, [CORNERS, LOWER, CORNERS])
    assert found is not None
    assert found[0] == pytest.approx(0.216, abs=0.002)


def test_no_paper_is_no_colour() -> None:
    assert paper_colour(photo((250, 250, 250)), []) is None
    assert paper_colour(photo((250, 250, 250)), [CORNERS + 5000]) is None
    assert paper_colour(photo((250, 250, 250)), [CORNERS / 100]) is None
