"""Stretches of a film looked at several at once, by threads or by the workers of a Dask cluster."""

from collections import deque
from collections.abc import Callable, Generator, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from typing import Any

from ..at_once import usable_cores
from ..cluster import dask_client
from .look import Look, Looking, looks_of

#: Number of the camera's place at first, and from which step to which; None for the film's end.
Stretch = tuple[int, int, int | None]
#: What comes of stretches, in order: looks, and whether the film ended before the stretch did.
Found = Generator[tuple[list[Look], bool], None, None]
Spread = Callable[[Looking, Sequence[Stretch]], Found]


@contextmanager
def ways_to_look(at_once: int | None = None, scheduler: str | None = None) -> Iterator[Spread]:
    """Yield what has the stretches of a film looked at.

    What is found does not depend on it: stretches depend on the film alone, and need nothing of one another.

    Parameters
    ----------
    at_once : int, optional
        How many stretches; as many as there are cores, or workers of the cluster, if not given.
    scheduler : str, optional
        Address of a Dask scheduler whose workers reach the film under the same path.

    Raises
    ------
    MissingLibraryError, ClusterError
        As `dask_client`.
    """
    if scheduler is None:
        # Most of the work is done by OpenCV outside the interpreter's lock.
        with ThreadPoolExecutor(at_once or usable_cores()) as pool:
            count = at_once or usable_cores()
            yield lambda looking, parts: _in_order(lambda part: pool.submit(look_at, looking, part), parts, count)
        return
    with dask_client(scheduler) as client:
        count = at_once or max(1, sum(client.nthreads().values()))
        yield lambda looking, parts: _by_dask(client, looking, parts, count)


def look_at(looking: Looking, part: Stretch) -> tuple[list[Look], bool]:
    """Look at one stretch."""
    stand, begin, end = part
    return looks_of(looking, begin, end, stand)


def _in_order(submit: Callable[[Stretch], Any], parts: Sequence[Stretch], count: int) -> Found:
    """Results in order, of which no more wait than there are at work."""
    waiting: deque[Any] = deque()
    try:
        for part in parts:
            waiting.append(submit(part))
            if len(waiting) > 2 * count:
                yield waiting.popleft().result()
        while waiting:
            yield waiting.popleft().result()
    finally:
        for future in waiting:
            future.cancel()


def _by_dask(client: Any, looking: Looking, parts: Sequence[Stretch], count: int) -> Found:
    everywhere = client.scatter(looking, broadcast=True)
    yield from _in_order(lambda part: client.submit(_one_core, everywhere, part, pure=False), parts, count)


def _one_core(looking: Looking, part: Stretch) -> tuple[list[Look], bool]:
    import cv2

    cv2.setNumThreads(1)
    return look_at(looking, part)
