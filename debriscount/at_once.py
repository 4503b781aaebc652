"""Work shared by cores: several shots at once or strips of a picture; what is wanted later, and modules, meanwhile."""

import os
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import suppress
from threading import Thread
from typing import TypeVar

Given = TypeVar("Given")
Made = TypeVar("Made")
#: Each takes some hundred megabytes while it is at work, and a run has three shots as a rule.
_MOST = 3
#: Pixels of a strip: a dozen arrays of so many, which a step works on, take two megabytes, as much as a core's cache.
_STRIP = 50_000


def usable_cores() -> int:
    """Cores that this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def for_each(action: Callable[[Given], Made], given: Iterable[Given]) -> Iterator[Made]:
    """Yield what the action makes of each, in order; most of it has to happen outside the interpreter's lock."""
    with ThreadPoolExecutor(min(_MOST, usable_cores())) as pool:
        yield from pool.map(action, given)


def over_strips(work: Callable[[slice], None], height: int, width: int) -> None:
    """Call ``work`` with the rows of every strip of a picture of that size.

    Each strip stays in a core's cache. The calls come from several threads at once, so each may write to its own rows
    only.
    """
    rows = max(1, round(_STRIP / max(width, 1)))
    strips = [slice(start, min(start + rows, height)) for start in range(0, height, rows)]
    if len(strips) == 1:  # no thread is worth its start
        work(strips[0])
        return
    with ThreadPoolExecutor(usable_cores()) as pool:
        list(pool.map(work, strips))


def meanwhile(action: Callable[[], Made]) -> Future[Made]:
    """Begin what is wanted later, and is mostly outside the interpreter's lock, in a thread of its own."""
    pool = ThreadPoolExecutor(1)
    begun = pool.submit(action)
    pool.shutdown(wait=False)
    return begun


def load_ahead(load: Callable[[], object]) -> None:
    """Call what loads modules in a thread of its own: photos are decoded outside the interpreter's lock meanwhile.

    What goes wrong is left to whoever imports the same in earnest. The process may end without waiting for it.
    """

    def quietly() -> None:
        with suppress(Exception):
            load()

    Thread(target=quietly, daemon=True).start()
