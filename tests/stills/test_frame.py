import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from debriscount.stills.frame import Frame, Line, over_ground, write_words

SIZES = [(1920, 1080), (3840, 2160), (1080, 1920), (1080, 1080), (300, 240)]


@pytest.mark.parametrize(("width", "height"), SIZES)
def test_picture_and_words_share_the_safe_area(width: int, height: int) -> None:
    frame = Frame(width, height)
    picture, words = frame.parted()
    safe = frame.safe
    assert safe.width == pytest.approx(0.9 * width, abs=2)
    assert safe.height == pytest.approx(0.9 * height, abs=2)
    for box in (picture, words):
        assert safe.left <= box.left < box.right <= safe.right
        assert safe.top <= box.top < box.bottom <= safe.bottom
    apart = words.top >= picture.bottom if frame.upright else words.left >= picture.right
    assert apart and picture.width * picture.height > words.width * words.height


def test_words_that_do_not_fit_are_made_smaller_and_none_is_cut() -> None:
    frame = Frame(640, 360)
    box = frame.parted()[1]
    image = frame.empty()
    taken = write_words(image, box, [Line("a rather long sentence about one machine " * 6)] * 4, frame.unit)
    assert taken.bottom <= box.bottom
    outside = image.copy()
    outside[box.top : box.bottom, box.left : box.right] = frame.empty()[0, 0]
    assert (outside == frame.empty()).all()
    assert (image[taken.bottom - 20 : taken.bottom, box.left : box.right] != frame.empty()[0, 0]).any()


@given(color=st.tuples(*[st.integers(0, 255)] * 3), opacity=st.floats(0.2, 1.0))
def test_what_is_drawn_over_black_and_white_is_told_back(color: tuple[int, int, int], opacity: float) -> None:
    """The compositing formula of Porter and Duff, Computer Graphics 18 (1984) 253: over = a c + (1 - a) ground."""
    over = [
        np.rint(opacity * np.array(color) + (1 - opacity) * ground).astype(np.uint8).reshape(1, 1, 3)
        for ground in (0, 255)
    ]
    found = over_ground(over)[0, 0].astype(float)
    assert found[3] == pytest.approx(255 * opacity, abs=1)
    assert found[:3] == pytest.approx(color, abs=1 + 1 / opacity)


def test_nothing_drawn_is_transparent() -> None:
    assert (over_ground([np.full((2, 2, 3), shade, np.uint8) for shade in (0, 255)])[..., 3] == 0).all()
