import cv2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from debriscount.report import text as text_module
from debriscount.report.text import LINE, broken, draw_text, text_width

needs_opencv_font = pytest.mark.skipif(not hasattr(cv2, "FontFace"), reason="OpenCV 4 has no such font")


def _written(text: str, size: int = 24) -> NDArray[np.uint8]:
    image = np.full((60, 700, 3), 255, np.uint8)
    draw_text(image, text, (10, 10), size, (0, 0, 0))
    return image


@pytest.fixture
def pillow_only(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(text_module, "_opencv_font", lambda: None)


@needs_opencv_font
@pytest.mark.parametrize("letter", "äöüÄÖÜßéñøåčł²±\N{EN DASH}ЖλΩ")
def test_letters_with_accents_are_written_as_such(letter: str) -> None:
    assert (_written(letter) != _written("?")).any()
    assert (_written(letter) != _written(text_module._ascii(letter))).any()


@pytest.mark.parametrize("text", ["Ä jelly", "Küche 12 345 mm²"])
@pytest.mark.parametrize("size", [16, 29, 40])
def test_text_stays_in_its_line_and_width(text: str, size: int) -> None:
    rows, columns = np.nonzero((_written(text, size) < 200).any(axis=2))
    assert rows.min() >= 10
    assert rows.max() < 10 + LINE * size
    assert columns.min() >= 10 - 1
    assert columns.max() < 10 + text_width(text, size) + 2


@pytest.mark.usefixtures("pillow_only")
@pytest.mark.parametrize("size", [16, 29])
def test_without_the_opencv_font_accents_are_dropped(size: int) -> None:
    assert (_written("Küche, 3 mm² \N{EN DASH} Łódź…", size) == _written("Kuche, 3 mm2 - Lodz...", size)).all()
    rows, columns = np.nonzero((_written("Ä jelly", size) < 200).any(axis=2))
    assert rows.min() >= 10
    assert rows.max() < 10 + LINE * size
    assert columns.max() < 10 + text_width("Ä jelly", size) + 2


@pytest.mark.usefixtures("pillow_only")
def test_what_has_no_likeness_becomes_a_question_mark() -> None:
    assert (_written("\u53f0") == _written("?")).all()
    draw_text(np.zeros((12, 12, 3), np.uint8), "near the rim", (-5, -5), 16, (1, 1, 1))


def test_line_breaks_become_blanks() -> None:
    assert (_written("a\n\tb") == _written("a b")).all()


@given(text=st.text(st.sampled_from("ab WX,.\u00e4\u2013"), max_size=60), width=st.integers(40, 400))
def test_broken_text_keeps_every_letter_and_fits(text: str, width: int) -> None:
    lines = broken(text, width, 20)
    assert "".join("".join(lines).split()) == "".join(text.split())
    assert all(text_width(line, 20) <= width or len(line) == 1 for line in lines)
