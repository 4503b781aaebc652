from collections.abc import Callable
from dataclasses import replace
from typing import TypeVar

import pytest

from debriscount.errors import PatchLayoutError, SheetError
from debriscount.inputs.patch import Marker
from debriscount.layout.lay_patch import lay_patch
from debriscount_cli._patch_answers import (
    PatchAnswers,
    gather_answers,
    make_patch,
    patch_text,
    read_marker,
    read_name,
    read_paper,
    read_place,
    read_side,
    read_size,
    read_walls,
    read_width,
    usual_widths_mm,
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


Answer = TypeVar("Answer")
ANSWERS = PatchAnswers(
    name="bench",
    size_mm=(600.0, 400.0),
    walls=("top", "left"),
    side_mm=50.0,
    edge_mm=30.0,
    corner_mm=60.0,
    margin_mm=60.0,
    paper="a4",
)
ALL = {"name": "bench", "size": "600x400", "place": "corner", "edge": "25", "corner": "70", "margin": "50",
       "side": "45", "paper": "letter"}  # fmt: skip


class Asked:
    """Answers from a list, and keeps the questions; the usual answer where the list has ended."""

    def __init__(self, *answers: str) -> None:
        self.answers = list(answers)
        self.questions: list[str] = []

    def __call__(self, question: str, usual: str, read: Callable[[str], Answer], /) -> Answer:
        self.questions.append(question)
        return read(self.answers.pop(0) if self.answers else usual)


def test_nothing_is_asked_when_all_is_given() -> None:
    asked = Asked()
    answers = gather_answers(ALL, ["left", "top"], [], asked, 8.0)
    assert asked.questions == []
    assert answers == PatchAnswers(
        name="bench",
        size_mm=(600, 400),
        walls=("left", "top"),
        side_mm=45,
        edge_mm=25,
        corner_mm=70,
        margin_mm=50,
        paper="letter",
        markers=(),
        megapixels=8.0,
    )


def test_what_is_not_given_is_asked_for() -> None:
    asked = Asked("kitchen", "500x300", "corner", "right,bottom", "20", "40", "30", "35", "letter")
    answers = gather_answers({}, [], [], asked)
    assert answers == PatchAnswers(
        name="kitchen",
        size_mm=(500, 300),
        walls=("right", "bottom"),
        side_mm=35,
        edge_mm=20,
        corner_mm=40,
        margin_mm=30,
        paper="letter",
    )
    assert [question.split()[0] for question in asked.questions] == [
        "Name", "Width", "Where", "Two", "Edge:", "Corner:", "Margin:", "Side", "Paper"
    ]  # fmt: skip


@pytest.mark.parametrize(("place", "unasked"), [("open", {"Edge:", "Corner:", "Two"}), ("wall", {"Corner:", "Two"})])
def test_what_does_not_matter_is_not_asked_for(place: str, unasked: set[str]) -> None:
    asked = Asked()
    gather_answers({"place": place}, [], [], asked)
    assert not unasked & {question.split()[0] for question in asked.questions}
    assert any("with the wall" in question for question in asked.questions) == (place == "wall")


def test_walls_alone_say_what_place_it_is() -> None:
    asked = Asked()
    assert gather_answers({}, ["top"], [], asked).walls == ("top",)
    assert not any("Where" in question for question in asked.questions)


def test_usual_widths_fit_a_small_patch() -> None:
    assert usual_widths_mm((600, 400)) == (30, 60, 60)
    assert usual_widths_mm((50, 50)) == (12, 25, 25)
    assert make_patch(gather_answers({"size": "50x50"}, [], [], Asked())).margin_mm == 25


def test_a_patch_is_laid_out() -> None:
    assert make_patch(ANSWERS) == lay_patch(600, 400, ("top", "left"), name="bench")
    own = replace(ANSWERS, walls=("left", "top"), markers=((7, 700.0, 43.0), (8, 700.0, 500.0), (9, 43.0, 500.0)))
    patch = make_patch(own)
    assert patch.walls == ("top", "left")
    assert patch.markers[0] == Marker(7, (700, 43), 50)


@pytest.mark.parametrize(
    ("changes", "error", "words"),
    [
        ({"markers": ((0, 700.0, 43.0),)}, PatchLayoutError, "the layout has 1 of at least 3 markers"),
        ({"markers": ((0, 10.0, 10.0), (1, 700.0, 500.0), (2, 43.0, 500.0))}, PatchLayoutError, "hides floor of the patch"),
        ({"markers": ((0, 700.0, 43.0),) * 3, "edge_mm": 900.0}, PatchLayoutError, "zone edge_mm must be 0 or more and less than"),
        ({"margin_mm": 400.0}, PatchLayoutError, "zone margin_mm must be"),
        ({"side_mm": 4.0}, PatchLayoutError, "markers 0, 1, 2, 3: a square of 4 mm is too small to be read"),
        ({"megapixels": 0.1}, PatchLayoutError, r"in a photo of 0\.1 megapixels that shows everything"),
        ({"side_mm": 137.0}, SheetError, "marker 0: a square of 137 mm does not fit a4 paper"),
    ],
)  # fmt: skip
def test_what_cannot_work_is_refused(changes: dict[str, object], error: type[Exception], words: str) -> None:
    with pytest.raises(error, match=words):
        make_patch(replace(ANSWERS, **changes))


def test_the_answers_are_read_back() -> None:
    text = patch_text(make_patch(ANSWERS), "a4")
    assert 'Patch "bench": 600 x 400 mm, wall at top and left.\n' in text
    assert "Zones: open, edge 30 mm, corner 60 mm, margin 60 mm.\n" in text
    assert "Markers of 50 mm for a4 paper" in text
    assert "   0  x      700  y       43\n" in text
    bare = patch_text(lay_patch(600, 400, name="hall"), "letter")
    assert "600 x 400 mm, no wall.\nZones: open, margin 60 mm.\n" in bare
