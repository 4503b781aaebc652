import threading
import time

import pytest

from debriscount.at_once import for_each


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
