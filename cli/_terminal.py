"""What the terminal can show: how wide it is, and whether in colour."""

import os
import shutil
import sys

#: Columns of prose that read well, and those that the shortest table takes.
WIDEST, NARROWEST = 80, 50


def terminal_width() -> int:
    """Columns to write in: those of the terminal, 80 at most, and in a pipe."""
    return min(max(shutil.get_terminal_size((WIDEST, 24)).columns, NARROWEST), WIDEST)


def in_colour() -> bool:
    """Whether to write in colour: to a terminal, unless NO_COLOR is set (no-color.org) or it has none."""
    return sys.stdout.isatty() and not os.environ.get("NO_COLOR") and os.environ.get("TERM") != "dumb"
