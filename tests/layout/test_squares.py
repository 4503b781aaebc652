import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from numpy.typing import NDArray

from debriscount.layout.squares import outlines, square_ink


def winding(loops: list[NDArray[np.float64]], x: float, y: float) -> int:
    """How often loops run around a point, clockwise as seen with y down: edges crossed by a ray to the right."""
    turns = 0
    for loop in loops:
        for (x0, y0), (x1, y1) in zip(loop, np.roll(loop, -1, axis=0), strict=True):
            if x0 == x1 > x and min(y0, y1) < y < max(y0, y1):
                turns += 1 if y1 > y0 else -1
    return turns


@given(arrays(bool, st.tuples(st.integers(1, 7), st.integers(1, 7))))
def test_outlines_fill_the_ink_and_nothing_else(ink: NDArray[np.bool_]) -> None:
    loops = outlines(ink)
    for row, column in np.ndindex(ink.shape):
        # 1 where it is black and 0 elsewhere: the nonzero and the even-odd rule agree.
        assert winding(loops, column + 0.5, row + 0.5) == ink[row, column]
    for loop in loops:
        steps = np.roll(loop, -1, axis=0) - loop
        assert ((steps == 0).sum(axis=1) == 1).all()
        assert ((steps != 0) != (np.roll(steps, 1, axis=0) != 0)).all()  # no corner lies straight on


def test_a_ring_is_two_loops() -> None:
    ring = np.ones((3, 3), bool)
    ring[1, 1] = False
    outer, inner = outlines(ring)
    assert outer.tolist() == [[0, 0], [3, 0], [3, 3], [0, 3]]
    assert len(inner) == 4


@pytest.mark.parametrize("number", [0, 23, 49])
def test_a_square_has_a_black_border(number: int) -> None:
    ink = square_ink(number)
    assert ink.shape == (6, 6)
    assert ink[[0, -1]].all()
    assert ink[:, [0, -1]].all()
    assert not ink.all()
    assert outlines(ink)[0].tolist() == [[0, 0], [6, 0], [6, 6], [0, 6]]


def test_square_0_is_the_dictionarys_first() -> None:
    # published: the first code of DICT_4X4_50 in OpenCV's tables is the bytes 181 and 50, white as 1, row by row
    code = [int(bit) for byte in (181, 50) for bit in f"{byte:08b}"]
    assert (~square_ink(0)[1:5, 1:5]).astype(int).ravel().tolist() == code
