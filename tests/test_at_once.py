import threading
import time

import pytest

from debriscount.at_once import for_each, load_ahead


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
