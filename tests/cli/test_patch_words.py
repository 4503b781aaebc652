from collections.abc import Callable

import pytest

from debriscount.errors import PatchLayoutError, SheetError
from debriscount_cli._patch_words import (
    read_marker,
    read_name,
    read_paper,
    read_place,
    read_side,
    read_size,
    read_walls,
    read_width,
)


def test_words_are_read() -> None:
    assert read_name("  hall bench ") == "hall bench"
    assert read_size("600x400") == read_size("600 X 400.0") == (600, 400)
    assert (read_width("0"), read_side("45.5")) == (0, 45.5)
    assert (read_place(" Corner"), read_paper("A4")) == ("corner", "a4")
    assert read_marker("3, -50,30.5") == (3, -50, 30.5)


@pytest.mark.parametrize(
    ("texts", "place", "walls"),
    [
        ([], "open", ()),
        ([], None, ()),
        (["top"], "wall", ("top",)),
        (["Left, top"], "corner", ("left", "top")),
        (["bottom", "right"], None, ("bottom", "right")),
    ],
)
def test_walls_are_read(texts: list[str], place: str | None, walls: tuple[str, ...]) -> None:
    assert read_walls(texts, place) == walls


@pytest.mark.parametrize(
    ("texts", "place", "words"),
    [
        (["up"], None, 'wall "up" is unknown. Known are: top, right, bottom, left.'),
        (["top"], "open", "a patch on open floor has no wall, got top. Name each side that has a wall once."),
        ([], "wall", "a patch at one wall has one wall, got none."),
        (["top", "top"], "corner", "a patch in a corner has two walls, got top, top."),
        (["top", "left", "right"], None, "a patch laid here has two walls, got top, left, right."),
        (
            ["top", "bottom"],
            "corner",
            "walls top and bottom make no corner. Name two sides that meet, such as top,left",
        ),
        (["left,right"], None, "walls left and right make no corner."),
    ],
)
def test_walls_that_make_no_place_are_refused(texts: list[str], place: str | None, words: str) -> None:
    with pytest.raises(PatchLayoutError, match=words):
        read_walls(texts, place)


@pytest.mark.parametrize(
    ("read", "text", "words"),
    [
        (read_name, "  ", "the patch needs a name"),
        (read_size, "600", r'the size must be written "600x400" \(width x height in millimetres\), got "600"'),
        (read_size, "600xwide", 'got "600xwide"'),
        (read_size, "infx400", 'got "infx400"'),
        (read_size, "20x400", "patch width_mm must be from 50 to 5000, got 20"),
        (read_width, "-1", 'a zone\'s width must be 0 or more millimetres, got "-1"'),
        (read_width, "wide", "a zone's width"),
        (read_side, "0", 'the side of the black squares must be more than 0 millimetres, got "0"'),
        (read_side, "nan", "the side of the black squares"),
        (read_place, "stairs", 'place "stairs" is unknown. Known are: open, wall, corner.'),
        (read_marker, "3,4", r'a marker must be written "3,-50,30" \(number, x and y in millimetres\), got "3,4"'),
        (read_marker, "-3,4,5", "a marker must be written"),
        (read_marker, "3,4,y", "a marker must be written"),
        (read_marker, "50,4,5", "marker 50 is unknown: dictionary DICT_4X4_50 has 0 to 49."),
    ],
)
def test_a_word_that_cannot_be_is_refused(read: Callable[[str], object], text: str, words: str) -> None:
    with pytest.raises(PatchLayoutError, match=words):
        read(text)


def test_an_unknown_paper_is_refused() -> None:
    with pytest.raises(SheetError, match='paper "legal" is unknown'):
        read_paper("legal")
