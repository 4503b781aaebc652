"""What the terminal can show: how wide it is, whether in colour, and a progress bar."""

import json
import os
import shutil
import sys
import textwrap
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path

from debriscount.printable import printable

#: Columns of prose that read well, and those that the shortest table takes.
WIDEST, NARROWEST = 80, 50


def terminal_width() -> int:
    """Columns to write in: those of the terminal, 80 at most, and in a pipe."""
    return min(max(shutil.get_terminal_size((WIDEST, 24)).columns, NARROWEST), WIDEST)


def in_colour() -> bool:
    """Whether to write in colour: to a terminal, unless NO_COLOR is set (no-color.org) or it has none."""
    return sys.stdout.isatty() and not os.environ.get("NO_COLOR") and os.environ.get("TERM") != "dumb"


def said_aside(text: str) -> None:
    """Print to standard error: wrapped for who reads it on a terminal, else in one line, as programs look for it."""
    if sys.stderr.isatty():
        text = "\n".join(_wrapped(line) for line in text.split("\n"))
    print(text, file=sys.stderr, flush=True)  # noqa: T201 - typer may not have loaded


def print_record(record: Mapping[str, object]) -> None:
    """Print a record to standard output as JSON, in characters that any terminal can show."""
    print(json.dumps(record, indent=1, allow_nan=False))  # noqa: T201 - as above


def said_written(folder: Path | None, written: Sequence[Path]) -> None:
    """Tell which files now stand in a folder; nothing where none were written."""
    if written:
        said_aside(f"wrote {folder}: {', '.join(_below(folder, path) for path in written)}")


def _below(folder: Path | None, path: Path) -> str:
    """A file's name, or its path in a folder that holds it."""
    return path.relative_to(folder).as_posix() if folder is not None and path.is_relative_to(folder) else path.name


def _wrapped(line: str) -> str:
    """A line of at most the terminal's width; paths and options stay whole, to be copied."""
    width = terminal_width()
    return textwrap.fill(line, width, subsequent_indent="  ", break_long_words=False, break_on_hyphens=False)


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
