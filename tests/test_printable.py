import unicodedata

import pytest
from hypothesis import given
from hypothesis import strategies as st

from debriscount.errors import InputFileError, OutputError
from debriscount.printable import csv_cell, printable, printable_lines, spoils

#: Characters that turn the direction of writing round; published: Unicode Standard Annex #9, 2.
BIDI = "\u061c\u200e\u200f\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069"


@given(st.text(st.characters(codec=None), max_size=40))
def test_what_is_printable_stands_in_one_line(text: str) -> None:
    shown = printable(text)
    assert len(shown) == len(text)
    assert not spoils(shown)
    assert not any(unicodedata.category(c) in ("Cc", "Cs", "Zl", "Zp") or c in BIDI for c in shown)
    shown.encode()
    assert all(a in (b, "\N{REPLACEMENT CHARACTER}") for a, b in zip(shown, text, strict=True))


def test_names_of_all_scripts_stay() -> None:
    name = "Küche / 台所 / مطبخ / मसूर / 🫘"
    assert printable(name) == name
    assert not spoils(name)


@given(st.text(max_size=60), st.integers(9, 30))
def test_a_long_text_loses_its_middle(text: str, most: int) -> None:
    assert len(printable(text, most)) <= most
    assert printable("a" * 20 + "b" * 20, 12) == "aaaaa...bbbb"


def test_lines_and_tabs_stay_where_they_may() -> None:
    assert printable_lines("a\n\tb\r\x1b") == "a\n\tb\N{REPLACEMENT CHARACTER}\N{REPLACEMENT CHARACTER}"


def test_errors_are_one_line_of_bounded_length() -> None:
    assert str(InputFileError("a\x1b[2Jb.toml:\nwrong")) == "a\N{REPLACEMENT CHARACTER}[2Jb.toml: wrong"
    assert str(OutputError("a\x07")) == "a\N{REPLACEMENT CHARACTER}"
    assert len(str(InputFileError("x" * 100_000))) == 2000


@pytest.mark.parametrize("text", ["=1+1", "+cmd", "-1+1", "@SUM(A1)", "\t=1", "\r=1", "  =1", "--5", "=HYPERLINK(1)"])
def test_text_that_begins_a_formula_is_text_in_a_table(text: str) -> None:
    """Published: OWASP, CSV injection, which names these beginnings."""
    assert csv_cell(text) == f"'{text}"


@pytest.mark.parametrize("cell", ["-3.2500", "+1", "-1e-5", "", "rice", "a=b", -3.5, 4, None])
def test_numbers_and_other_text_stay_as_they_are(cell: object) -> None:
    assert csv_cell(cell) == cell
