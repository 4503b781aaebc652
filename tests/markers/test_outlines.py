import cv2
import numpy as np
from numpy.typing import NDArray

from debriscount.markers.outlines import outlines

DICTIONARY = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)


def sheet(side: int, width: int, height: int, grey: int = 120) -> NDArray[np.uint8]:
    """Marker 3 on white paper in the middle of a grey picture; its side a multiple of six, px."""
    picture = np.full((height, width), grey, np.uint8)
    square = np.kron(cv2.aruco.generateImageMarker(DICTIONARY, 3, 6), np.ones((side // 6, side // 6)))
    paper = np.pad(square, side // 5, constant_values=255).astype(np.uint8)
    top, left = (height - len(paper)) // 2, (width - len(paper)) // 2
    picture[top : top + len(paper), left : left + len(paper)] = paper
    return picture


def test_copies_go_from_a_quarter_to_the_whole() -> None:
    """Corners are told in pixels of the photo and known to half a pixel of the copy and half of the photo's."""
    found = list(outlines(sheet(240, 2400, 1800)))
    assert len(found) == 3
    for several, off_px in zip(found, (2.5, 1.5, 1.0), strict=True):
        (named,) = [one for one in several if one.id == 3]
        assert named.off_px == off_px
        # By hand: centred, so the black square is 1080 to 1320 px wide and 780 to 1020 px high, less half a pixel.
        expected = np.array([[1079.5, 779.5], [1319.5, 779.5], [1319.5, 1019.5], [1079.5, 1019.5]])
        assert np.abs(named.corners_px - expected).max() <= 2 * off_px


def test_a_small_photo_is_searched_as_it_is() -> None:
    assert len(list(outlines(sheet(60, 400, 300)))) == 1
    assert len(list(outlines(sheet(60, 1000, 900)))) == 2


def test_the_rim_of_the_sheet_does_not_stand_for_the_marker() -> None:
    """On a dark floor the paper's own rim is an outline as well, 0.07 of its length from the black square's."""
    picture = np.full((300, 300), 30, np.uint8)
    picture[125:175, 125:175] = 200  # paper of 50 px
    picture[132:168, 132:168] = 20  # black of 36 px, without a code
    (several,) = outlines(np.asarray(cv2.GaussianBlur(picture, (0, 0), 1.2), np.uint8))
    sides = [float(np.linalg.norm(one.corners_px[1] - one.corners_px[0])) for one in several]
    assert any(30 < side < 40 for side in sides)
    assert max(sides) > 46


def test_an_empty_picture_has_none() -> None:
    assert list(outlines(np.full((300, 400), 90, np.uint8))) == [[]]
