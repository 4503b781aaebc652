"""What the terminal can show: how wide it is, and whether in colour."""

import os
import shutil
import sys
import textwrap

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


def _wrapped(line: str) -> str:
    """A line of at most the terminal's width; paths and options stay whole, to be copied."""
    width = terminal_width()
    return textwrap.fill(line, width, subsequent_indent="  ", break_long_words=False, break_on_hyphens=False)
