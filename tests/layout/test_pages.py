from itertools import combinations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from debriscount.errors import SheetError
from debriscount.inputs.patch import Marker
from debriscount.layout.pages import GAP_MM, lay_pages
from debriscount.layout.paper import HALF_PAPER, LABEL_MM, printed_box_mm


@given(sides=st.lists(st.floats(3, 135), min_size=1, max_size=30), paper=st.sampled_from(["a4", "letter"]))
def test_every_square_is_printed_once_and_apart_from_others(sides: list[float], paper: str) -> None:
    markers = [Marker(n, (float(n), 0.0), side) for n, side in enumerate(sides)]
    pages = lay_pages(markers, paper)
    assert [printed.marker for page in pages for printed in page] == markers
    left, top, right, bottom = printed_box_mm(paper)
    for page in pages:
        assert page
        for printed in page:
            box, (x, y), half = printed.box_mm, printed.center_mm, HALF_PAPER * printed.marker.side_mm
            assert left - 1e-6 <= box[0] and box[2] <= right + 1e-6
            assert top - 1e-6 <= box[1] and box[3] <= bottom + 1e-6
            assert box == pytest.approx((x - half, y - half - LABEL_MM, x + half, y + half))
        for a, b in combinations([printed.box_mm for printed in page], 2):
            gap = max(a[0] - b[2], b[0] - a[2], a[1] - b[3], b[1] - a[3])
            assert gap >= GAP_MM - 1e-6


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_four_squares_of_60_mm_are_one_page(paper: str) -> None:
    assert len(lay_pages([Marker(n, (0.0, 0.0), 60.0) for n in range(4)], paper)) == 1
    assert [len(page) for page in lay_pages([Marker(n, (0.0, 0.0), 100.0) for n in range(3)], paper)] == [1, 1, 1]


def test_a_square_too_large_for_the_page_is_refused() -> None:
    with pytest.raises(SheetError, match=r"marker 1: a square of 150 mm does not fit a4 paper.* Take a3 paper"):
        lay_pages([Marker(0, (0, 0), 50), Marker(1, (0, 0), 150)], "a4")
    with pytest.raises(SheetError, match=r"marker 1: a square of 250 mm does not fit a3 paper.* Have a print shop"):
        lay_pages([Marker(0, (0, 0), 50), Marker(1, (0, 0), 250)], "a3")
