"""Columns of figures as text: CSV for other programs, tables for the terminal."""

import csv
import io
import re
import textwrap
import unicodedata
from collections.abc import Iterable, Sequence

from .printable import csv_cell, printable

TABLE_WIDTH = 100
#: Columns of what a measurement prints, unless the terminal is narrower.
TERMINAL_WIDTH = 80
_SHORTEST_NAME = 10
_NO_BREAK = "\N{NO-BREAK SPACE}"
#: Columns by which a CSV file is known again. The first ones never change; what later versions add comes last.
_FIRST = 4


def csv_text(rows: Iterable[Iterable[object]], *, decimal_comma: bool = False) -> str:
    """Return rows as lines of a CSV file; None is an empty cell, and no text is taken for a formula.

    With ``decimal_comma``, numbers have a comma and cells are parted by semicolons, as spreadsheets in much of Europe
    want it.
    """
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n", delimiter=";" if decimal_comma else ",")
    cells = ([csv_cell(cell) for cell in row] for row in rows)
    writer.writerows(map(_with_commas, cells) if decimal_comma else cells)
    return out.getvalue()


def _with_commas(row: Iterable[object]) -> list[object]:
    return [str(cell).replace(".", ",") if isinstance(cell, float) else cell for cell in row]


def header_mark(header: Sequence[str]) -> bytes:
    """How a CSV file of this header begins, whichever version wrote it."""
    return (",".join(header[:_FIRST]) + ",").encode()


def aligned(rows: list[list[str]], width: int = TABLE_WIDTH) -> list[str]:
    """Lines of equal columns, the first to the left and cut to the room it has, all others to the right.

    Headings of several words, the first row, take several lines where the table is too wide otherwise.
    """
    widths = _widths(rows)
    if len(rows) > 1 and sum(widths) + 2 * len(widths[1:]) > width:
        rows = [*_headings(rows), *rows[1:]]
        widths = _widths(rows)
    room = width - sum(widths[1:]) - 2 * len(widths[1:])
    widths[0] = min(widths[0], max(room, _SHORTEST_NAME))
    lines = []
    for row in rows:
        name = _shortened(row[0], widths[0])
        cells = [" " * (w - columns_of(cell)) + cell for cell, w in zip(row[1:], widths[1:], strict=False)]
        lines.append("  ".join([name + " " * (widths[0] - columns_of(name)), *cells]).rstrip())
    return lines


def _widths(rows: list[list[str]]) -> list[int]:
    return [max(columns_of(row[i]) for row in rows if i < len(row)) for i in range(len(rows[0]))]


def _headings(rows: list[list[str]]) -> list[list[str]]:
    """The first row as several rows, each heading no wider than its column's figures or its own longest word."""
    figures = _widths(rows[1:])
    stacks = [
        textwrap.wrap(heading, max([*map(columns_of, heading.split()), figure]), break_long_words=False) or [""]
        for heading, figure in zip(rows[0][1:], figures[1:], strict=True)
    ]
    depth = max(map(len, stacks), default=1)
    columns = [[""] * (depth - len(stack)) + stack for stack in ([rows[0][0]], *stacks)]
    return [list(line) for line in zip(*columns, strict=True)]


def columns_of(text: str) -> int:
    """Columns that a terminal gives the text; East Asian characters take two, combining ones none."""
    return sum((unicodedata.east_asian_width(c) in "WF") + 1 - bool(unicodedata.combining(c)) for c in text)


def _shortened(text: str, width: int) -> str:
    text = printable(text)
    if columns_of(text) <= width:
        return text
    while columns_of(text) > width - 3:
        text = text[:-1]
    return text + "..."


def wrapped(text: str, indent: str, width: int = TABLE_WIDTH) -> str:
    """Return text in lines of ``width``, those after the first indented; a number keeps its unit."""
    words = re.sub(r"(?<=\d) (?=(mm|cm²|%)(\W|$))", _NO_BREAK, printable(" ".join(text.split())))
    return textwrap.fill(words, width, subsequent_indent=indent).replace(_NO_BREAK, " ")
