import numpy as np
import pytest

from debriscount.cover.strips import over_strips


@pytest.mark.parametrize("rows", [1, 31, 32, 33, 500])
def test_every_row_is_worked_on_once(rows: int) -> None:
    done = np.zeros(rows, int)

    def work(strip: slice) -> None:
        done[strip] += 1

    over_strips(work, rows)
    assert done.tolist() == [1] * rows


def test_an_error_in_a_strip_is_not_swallowed() -> None:
    def work(strip: slice) -> None:
        raise ZeroDivisionError(str(strip))

    with pytest.raises(ZeroDivisionError):
        over_strips(work, 100)
