import threading
import time

import numpy as np
import pytest

from debriscount.at_once import for_each, load_ahead, meanwhile, over_strips


def test_few_are_at_work_at_once_and_come_in_order() -> None:
    lock = threading.Lock()
    at_work = most = 0

    def slow(number: int) -> int:
        nonlocal at_work, most
        with lock:
            at_work += 1
            most = max(most, at_work)
        time.sleep(0.01 * (number % 3))
        with lock:
            at_work -= 1
        return number**2

    assert list(for_each(slow, range(12))) == [n**2 for n in range(12)]
    assert most <= 3


def test_what_goes_wrong_is_raised() -> None:
    with pytest.raises(ZeroDivisionError):
        list(for_each(lambda number: 1 // number, [1, 0]))


def test_what_is_loaded_ahead_is_loaded_beside_and_may_fail() -> None:
    main, where, done = threading.get_ident(), [], threading.Event()

    def load() -> None:
        where.append(threading.get_ident())
        done.set()
        raise ImportError("no such module")

    load_ahead(load)
    assert done.wait(10)
    assert where != [main]


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


def test_what_is_wanted_later_is_there_then_and_its_error_too() -> None:
    assert meanwhile(lambda: threading.current_thread() is threading.main_thread()).result() is False
    with pytest.raises(ZeroDivisionError):
        meanwhile(lambda: 1 // 0).result()
