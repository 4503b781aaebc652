import pytest

from debriscount.errors import SheetError
from debriscount.inputs.patch import Marker
from debriscount.layout.paper import (
    HALF_PAPER,
    LABEL_MM,
    check_fits_page,
    largest_side_mm,
    page_mm,
    paper_box_mm,
    printed_box_mm,
)


def test_pages_have_their_standard_sizes() -> None:
    assert page_mm("A4") == (210, 297)  # published: ISO 216
    assert page_mm("letter") == pytest.approx((8.5 * 25.4, 11 * 25.4))  # published: ANSI/ASME Y14.1, size A


def test_the_paper_leaves_more_than_a_module_white() -> None:
    left, top, right, bottom = paper_box_mm(Marker(0, (100, 200), 60))
    assert (left, right, bottom) == pytest.approx((58, 142, 242))
    assert top == pytest.approx(158 - LABEL_MM)
    assert (HALF_PAPER - 0.5) * 60 > 60 / 6  # independent: OpenCV's least is one module


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_the_largest_square_fits_and_no_larger_one(paper: str) -> None:
    most = largest_side_mm(paper)
    left, top, right, bottom = printed_box_mm(paper)
    check_fits_page(Marker(0, (0, 0), most), paper)
    box = paper_box_mm(Marker(0, (0, 0), most + 0.1))
    assert box[2] - box[0] > right - left or box[3] - box[1] > bottom - top


@pytest.mark.parametrize(
    ("paper", "side", "words"),
    [
        ("a4", 138, r"marker 3: a square of 138 mm does not fit a4 paper with its white rim; 135\.7 mm is the most\."
         r" Take letter paper, or give a smaller side_mm\."),
        ("letter", 300, r"139\.9 mm is the most\. Have a print shop print it, or give a smaller side_mm\."),
        ("legal", 50, 'paper "legal" is unknown. Known are: a4, letter.'),
    ],
)  # fmt: skip
def test_what_does_not_fit_is_refused(paper: str, side: float, words: str) -> None:
    with pytest.raises(SheetError, match=words):
        check_fits_page(Marker(3, (0, 0), side), paper)
