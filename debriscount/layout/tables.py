"""Tables that run on over the pages."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from .draw import Page, line, text

ROW_MM = 4.5
_TITLE_MM, _GAP_MM = 6.5, 4.0
_SIZE_PT = 8


@dataclass(frozen=True, slots=True)
class SheetTable:
    """A table: ``right_mm`` holds where each column's right end lies, from the left rim; heads and rows its cells."""

    title: str
    right_mm: tuple[float, ...]
    heads: tuple[tuple[str, ...], ...]
    rows: tuple[tuple[str, ...], ...]

    @property
    def head_mm(self) -> float:
        """Height of title and heads, with the gap above."""
        return _GAP_MM + _TITLE_MM + ROW_MM * len(self.heads)


def break_tables(tables: Sequence[SheetTable], rooms_mm: Iterator[float]) -> list[list[SheetTable]]:
    """Break tables over pages.

    Parameters
    ----------
    tables : sequence of SheetTable
        What to set, in order.
    rooms_mm : iterator of float
        Room on each page; it never ends.

    Returns
    -------
    list of list of SheetTable
        One list a page; a table that runs on has its heads again.
    """
    pages: list[list[SheetTable]] = [[]]
    room = next(rooms_mm)
    for table in tables:
        rows = table.rows
        while rows:
            fit = int((room - table.head_mm) / ROW_MM)
            if fit < min(2, len(rows)):
                pages.append([])
                room = next(rooms_mm)
                continue
            part = SheetTable(table.title, table.right_mm, table.heads, rows[:fit])
            pages[-1].append(part)
            room -= table.head_mm + ROW_MM * len(part.rows)
            rows = rows[fit:]
    return pages


def draw_tables(page: Page, tables: Sequence[SheetTable], left: float, top: float) -> None:
    """Draw tables under one another."""
    y = top
    for table in tables:
        y += _GAP_MM
        text(page, left, y + _TITLE_MM / 2 - 0.5, table.title, 9, bold=True)
        y += _TITLE_MM
        for cells in table.heads:
            _draw_row(page, table, cells, left, y, shade=0.3)
            y += ROW_MM
        line(page, [(left, y), (left + max(table.right_mm), y)], 0.15)
        for cells in table.rows:
            _draw_row(page, table, cells, left, y)
            y += ROW_MM


def _draw_row(page: Page, table: SheetTable, cells: Sequence[str], left: float, y: float, shade: float = 0.0) -> None:
    for right, cell in zip(table.right_mm, cells, strict=True):
        if cell:
            text(page, left + right, y + ROW_MM / 2, cell, _SIZE_PT, align="right", shade=shade)
