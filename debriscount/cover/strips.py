"""Work through a picture in horizontal strips: each stays in the processor's cache, and all cores take part."""

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from os import cpu_count

ROWS = 32


def over_strips(work: Callable[[slice], None], rows: int) -> None:
    """Call ``work`` with the rows of every strip of a picture of ``rows`` rows.

    The calls come from several threads at once, so each may write to its own rows only.
    """
    strips = [slice(start, min(start + ROWS, rows)) for start in range(0, rows, ROWS)]
    if len(strips) == 1:  # no thread is worth its start
        work(strips[0])
        return
    with ThreadPoolExecutor(cpu_count() or 1) as pool:
        list(pool.map(work, strips))
