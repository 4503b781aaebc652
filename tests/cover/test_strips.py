import numpy as np
import pytest

from debriscount.cover.strips import over_strips


@pytest.mark.parametrize(("rows", "width"), [(1, 1000), (32, 1500), (33, 1500), (500, 1621), (200_001, 1), (3, 10**6)])
def test_every_row_is_worked_on_once(rows: int, width: int) -> None:
    done = np.zeros(rows, int)

    def work(strip: slice) -> None:
        done[strip] += 1

    over_strips(work, rows, width)
    assert done.tolist() == [1] * rows


def test_an_error_in_a_strip_is_not_swallowed() -> None:
    def work(strip: slice) -> None:
        raise ZeroDivisionError(str(strip))

    with pytest.raises(ZeroDivisionError):
        over_strips(work, 100, 1000)
