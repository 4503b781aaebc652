"""Work through a picture in horizontal strips: each stays in the processor's cache, and all cores take part."""

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from os import cpu_count

#: Pixels of a strip: a dozen arrays of so many, which a step works on, take two megabytes, as much as a core's cache.
STRIP = 50_000


def over_strips(work: Callable[[slice], None], height: int, width: int) -> None:
    """Call ``work`` with the rows of every strip of a picture of that size.

    The calls come from several threads at once, so each may write to its own rows only.
    """
    rows = max(1, round(STRIP / width))
    strips = [slice(start, min(start + rows, height)) for start in range(0, height, rows)]
    if len(strips) == 1:  # no thread is worth its start
        work(strips[0])
        return
    with ThreadPoolExecutor(cpu_count() or 1) as pool:
        list(pool.map(work, strips))
