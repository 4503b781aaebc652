from itertools import chain, repeat

from hypothesis import given
from hypothesis import strategies as st

from debriscount.layout.tables import ROW_MM, SheetTable, break_tables


def table(rows: int, title: str = "t") -> SheetTable:
    return SheetTable(title, (10.0,), (("head",),), tuple((f"{title}{n}",) for n in range(rows)))


@given(counts=st.lists(st.integers(1, 60), min_size=1, max_size=4), first=st.floats(0, 200), later=st.floats(40, 200))
def test_no_row_is_lost_and_none_runs_off_the_page(counts: list[int], first: float, later: float) -> None:
    tables = [table(rows, "abcd"[n]) for n, rows in enumerate(counts)]
    pages = break_tables(tables, chain([first], repeat(later)))
    assert [row for page in pages for part in page for row in part.rows] == [row for t in tables for row in t.rows]
    for room, page in zip(chain([first], repeat(later)), pages, strict=False):
        assert sum(part.head_mm + ROW_MM * len(part.rows) for part in page) <= room + 1e-6
        assert all(part.heads == (("head",),) for part in page)


def test_a_table_that_fits_stays_whole() -> None:
    assert break_tables([table(3), table(2, "u")], repeat(100.0)) == [[table(3), table(2, "u")]]
