"""A progress bar for people; nothing in a pipe."""

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager

from debriscount.printable import printable

Progress = Callable[[float, str], None]


@contextmanager
def progress_bar(wanted: bool) -> Iterator[Progress | None]:
    """Show a bar on stderr while the block runs, if stderr is a terminal.

    Parameters
    ----------
    wanted : bool
        False for none in any case.

    Yields
    ------
    callable or None
        Takes the share done (0 to 1) and what is being done.
    """
    if not wanted or not sys.stderr.isatty():
        yield None
        return
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

    columns = (BarColumn(), TextColumn("{task.percentage:>3.0f} %"), TimeElapsedColumn())
    # The bar moves the cursor, which what is printed otherwise may not (`_streams`).
    console = Console(file=getattr(sys.stderr, "terminal", sys.stderr))
    with Progress(*columns, TextColumn("{task.description}", markup=False), console=console, transient=True) as bar:
        task = bar.add_task("", total=1.0)

        def show(done: float, what: str) -> None:
            bar.update(task, completed=done, description=printable(what, 60))

        yield show


def share_of(progress: Progress | None, number: int, count: int) -> Progress | None:
    """Return what shows the progress of one of several like steps.

    Parameters
    ----------
    progress : callable or None
        What shows the progress of all.
    number, count : int
        The step, counted from 0, and how many there are.
    """
    if progress is None:
        return None
    return lambda done, what: progress((number + done) / count, what)
