from collections.abc import Callable, Mapping

import pytest
import typer

from debriscount.errors import WeighingError
from debriscount_cli._interview import Interview


def number(text: str) -> int:
    if not text.strip().isdecimal():
        raise WeighingError(f'"{text}" is no number.')
    return int(text)


def three(ask: Callable[..., int]) -> tuple[int, ...]:
    found = tuple(ask(f"{name}?", "", number) for name in "abc")
    if found[2] == 9:
        raise WeighingError("c must not be 9.")
    return found


class Typed:
    """Answers in the place of a person's, and the questions that were put."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch, *answers: str) -> None:
        self.questions: list[str] = []
        self._left = list(answers)
        monkeypatch.setattr(typer, "prompt", self._prompt)

    def _prompt(self, question: str, **_: object) -> str:
        self.questions.append(question)
        return self._left.pop(0)


def test_a_dash_goes_back_to_the_question_before(monkeypatch: pytest.MonkeyPatch) -> None:
    typed = Typed(monkeypatch, "1", "2", "-", "5", "3")
    assert Interview(WeighingError, silent=False).gather(three) == (1, 5, 3)
    assert typed.questions == ["a?", "b?", "c?", "b?", "c?"]


def test_it_goes_back_as_far_as_the_first_question(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    typed = Typed(monkeypatch, "1", "2", "-", "-", "-", "7", "8", "6")
    assert Interview(WeighingError, silent=False).gather(three) == (7, 8, 6)
    assert typed.questions == ["a?", "b?", "c?", "b?", "a?", "a?", "b?", "c?"]
    assert "this is the first question" in capsys.readouterr().err


def test_answers_are_kept_after_each_and_taken_up_again(monkeypatch: pytest.MonkeyPatch) -> None:
    kept: list[Mapping[str, str]] = []

    def keep(answers: Mapping[str, str]) -> None:
        kept.append(dict(answers))

    Typed(monkeypatch, "1", "2", "3")
    Interview(WeighingError, silent=False, keep=keep).gather(three)
    assert kept == [{"a?": "1"}, {"a?": "1", "b?": "2"}, {"a?": "1", "b?": "2", "c?": "3"}]
    typed = Typed(monkeypatch, "4")
    assert Interview(WeighingError, silent=False, answers=kept[1]).gather(three) == (1, 2, 4)
    assert typed.questions == ["c?"]


def test_of_answers_that_do_not_go_together_the_last_is_asked_again(monkeypatch: pytest.MonkeyPatch) -> None:
    Typed(monkeypatch, "4")
    assert Interview(WeighingError, silent=False, answers={"a?": "1", "b?": "2", "c?": "9"}).gather(three) == (1, 2, 4)


def test_answers_are_corrected_one_by_one(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    typed = Typed(monkeypatch, "1", "2", "3", "2", "8", "perhaps", "yes")
    assert Interview(WeighingError, silent=False).corrected(three, str, "Save?") == (1, 8, 3)
    assert typed.questions[3:5] == ["Save? (yes, no, or the number of an answer to correct)", "b?"]
    said = capsys.readouterr()
    assert "  2  b?: 2" in said.out
    assert '"perhaps" is neither yes, no nor one of the numbers' in said.err


def test_no_ends_it(monkeypatch: pytest.MonkeyPatch) -> None:
    Typed(monkeypatch, "1", "2", "3", "no")
    with pytest.raises(typer.Exit):
        Interview(WeighingError, silent=False).corrected(three, str, "Save?")


def test_silent_it_takes_the_usual_answers() -> None:
    interview = Interview(WeighingError, silent=True)
    assert interview.corrected(lambda ask: ask("a?", "5", number), str, "Save?") == 5
    assert not interview.asked
