"""Several shots at work at once, and not all of them; and modules loaded meanwhile."""

import os
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from threading import Thread
from typing import TypeVar

Given = TypeVar("Given")
Made = TypeVar("Made")
#: Each takes some hundred megabytes while it is at work, and a run has three shots as a rule.
_MOST = 3


def usable_cores() -> int:
    """Cores that this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def for_each(action: Callable[[Given], Made], given: Iterable[Given]) -> Iterator[Made]:
    """Yield what the action makes of each, in order; most of it has to happen outside the interpreter's lock."""
    with ThreadPoolExecutor(min(_MOST, usable_cores())) as pool:
        yield from pool.map(action, given)


def load_ahead(load: Callable[[], object]) -> None:
    """Call what loads modules in a thread of its own: photos are decoded outside the interpreter's lock meanwhile.

    What goes wrong is left to whoever imports the same in earnest. The process may end without waiting for it.
    """

    def quietly() -> None:
        with suppress(Exception):
            load()

    Thread(target=quietly, daemon=True).start()
