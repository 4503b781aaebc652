from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import Any

import pytest

from debriscount.errors import WeighingError
from debriscount.inputs.weighing import G_PER_UNIT, Net, Scale, Weighing
from debriscount_cli._weighing_answers import gather_weighing, read_loads, read_names

CUP = {"full": "152.3 152.4", "empty": "102.3"}


def gather(
    given: Mapping[str, str | None],
    answers: Sequence[str] = (),
    swept: Sequence[str] = (),
    elsewhere: Sequence[str] = (),
) -> tuple[Weighing, list[str]]:
    """Answer in order, or as usual once the answers have ended; return what was asked, too."""
    asked: list[str] = []
    words: Iterator[str] = iter(answers)

    def ask(question: str, usual: str, read: Callable[[str], Any], /) -> Any:
        asked.append(question)
        return read(next(words, usual) or usual)

    return gather_weighing(given, swept, elsewhere, ask), asked


def test_all_is_asked_in_the_order_in_which_it_is_weighed() -> None:
    answers = [
        "g",
        "0.1",
        "",
        "152.3",
        "102.3",
        "weighed",
        "310.2",
        "351.9",
        "open edge",
        "3.1",
        "14.0-10",
        "brush",
        "0.4",
    ]
    weighing, asked = gather({}, answers)
    assert weighing == Weighing(
        Scale(0.1),
        Net((152.3,), (102.3,)),
        bin=Net((351.9,), (310.2,)),
        swept={"open": Net((3.1,)), "edge": Net((14.0,), (10.0,))},
        elsewhere={"brush": Net((0.4,))},
    )
    assert asked[3:5] == ["Cup with the portion, g (repeats apart by blanks)", "Cup after scattering, g"]
    assert asked[10] == "Swept up edge, g (gross-tare, or net)"
    assert len(asked) == 13


def test_what_is_given_is_not_asked_for() -> None:
    given = CUP | {
        "unit": "g", "readability": "0.1", "repeatability": "0.05", "linearity": "0.2", "bin_before": "310",
        "bin_after": "351", "emptied": "50.5-10", "left_in_cup": "0.2", "clean_cup": "102.2 102.1", "clean_bin": "309",
    }  # fmt: skip
    weighing, asked = gather(given, swept=["open=3.1", "Edge=4 4.1"], elsewhere=["hair=1.5-1"])
    assert not asked
    assert weighing.scale == Scale(0.1, 0.05, 0.2)
    assert weighing.dispensed == Net((152.3, 152.4), (102.3,))
    assert (weighing.bin, weighing.emptied) == (Net((351.0,), (310.0,)), Net((50.5,), (10.0,)))
    assert (weighing.left_in_cup, weighing.usual_cup_g, weighing.usual_bin_g) == (Net((0.2,)), (102.2, 102.1), (309.0,))
    assert weighing.swept == {"open": Net((3.1,)), "edge": Net((4.0, 4.1))}
    assert weighing.elsewhere == {"hair": Net((1.5,), (1.0,))}


def test_the_usual_is_a_kitchen_scale_and_nothing_but_the_cup() -> None:
    weighing, asked = gather(CUP)
    assert weighing == Weighing(Scale(0.1), Net((152.3, 152.4), (102.3,)))
    assert len(asked) == 6  # unit, step, repeatability, bin, zones, parts


def test_half_a_bin_is_asked_for_the_other_half() -> None:
    weighing, asked = gather(CUP | {"bin_before": "310"}, ["", "", "", "351"])
    assert weighing.bin == Net((351.0,), (310.0,))
    assert "Bin after the run, g" in asked


def test_a_portion_without_its_cup_in_ounces() -> None:
    weighing, asked = gather({"portion": "1.77", "unit": "oz"})
    assert weighing.unit == "oz"
    assert weighing.dispensed.mass_g == pytest.approx(1.77 * G_PER_UNIT["oz"])
    assert weighing.scale.readability_g == pytest.approx(0.01 * G_PER_UNIT["oz"])
    assert "Smallest step of its display, oz" in asked


def test_a_linearity_alone_leaves_repeatability_as_usual() -> None:
    assert gather(CUP | {"linearity": "0.3"})[0].scale == Scale(0.1, None, 0.3)


@pytest.mark.parametrize(
    ("given", "swept", "message"),
    [
        ({"unit": "lb"}, [], r'unit "lb" is unknown\. Known are: g, oz\.'),
        ({"readability": "0"}, [], r'the smallest step of the scale must be more than 0, got "0"\.'),
        ({"full": ""}, [], r'a reading is needed, such as "152\.3", or repeats'),
        ({"full": "152,3,1"}, [], r'a reading must be a number of 0 or more, such as 152\.3, got "152,3,1"\.'),
        (
            {"full": "1,523"},
            [],
            r'"1,523" may be meant with a decimal comma or with thousands\. Write 1\.523 or 1523\.',
        ),
        ({"full": "-3"}, [], r"a reading must be a number of 0 or more"),
        ({"full": "nan"}, [], r"a reading must be a number of 0 or more"),
        ({"full": "1e6"}, [], r"1e6 g are more than any scale for this carries\. Read it again\."),
        ({"full": "100"}, [], r"nothing was scattered: the cup must be heavier full than empty\."),
        ({"left_in_cup": "60"}, [], r"nothing was scattered"),
        ({"portion": "50"}, [], r"the portion is given beside the cup\. Give the cup full and empty, or the portion"),
        ({}, ["open"], r'a mass must be written "open=3\.1" \(name and reading\), got "open"\.'),
        ({}, ["hall=3"], r'"hall" is unknown\. Known are: open, edge, corner, margin, total, or none\.'),
        ({}, ["total=3", "open=2"], r"the total stands beside zones\. Give either the zones or the total\."),
    ],
)
def test_what_cannot_be_is_said(given: dict[str, str], swept: list[str], message: str) -> None:
    with pytest.raises(WeighingError, match=message):
        gather(CUP | given, swept=swept)


def test_words() -> None:
    assert read_loads(" 1 2.5  3e1 ") == (1.0, 2.5, 30.0)
    assert read_names("Open, edge open", ("open", "edge")) == ("open", "edge")
    assert read_names("none", ("open",)) == ()
