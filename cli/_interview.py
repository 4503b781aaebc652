"""Questions on the terminal, asked again where an answer cannot be; answers can be taken back, kept and corrected."""

from collections.abc import Callable, Mapping
from typing import Protocol, TypeVar

import typer

from debriscount.errors import DebriscountError
from debriscount.printable import printable

from ._terminal import said_aside

Answer = TypeVar("Answer")
Gathered = TypeVar("Gathered")

#: The answer that goes back to the question before.
BACK = "-"
_KEEP_NOTHING: Callable[[Mapping[str, str]], None] = lambda answers: None  # noqa: E731


class Ask(Protocol):
    """Puts a question, with the usual answer or "" if there is none, until ``read`` can read what is answered."""

    def __call__(self, question: str, usual: str, read: Callable[[str], Answer], /) -> Answer: ...


class _Back(Exception):  # noqa: N818 - no error: the questions begin again, and those answered are passed over
    pass


class Interview:
    """Questions put one after the other.

    Silent, it takes the usual answer for every question. ``answers`` are those given before, by question: they are
    taken without asking. ``keep`` is handed all answers after each new one.
    """

    def __init__(
        self,
        too_few: type[DebriscountError],
        *,
        silent: bool,
        answers: Mapping[str, str] | None = None,
        keep: Callable[[Mapping[str, str]], None] = _KEEP_NOTHING,
    ) -> None:
        self.too_few = too_few  # raised where the answers end before the questions
        self.silent = silent
        self.asked = False
        self.answers = dict(answers or {})
        self._keep = keep
        self._order: list[str] = []
        self._ended = False

    def gather(self, questions: Callable[[Ask], Gathered]) -> Gathered:
        """Return what a function makes of the answers to the questions that it asks.

        Parameters
        ----------
        questions : callable
            Asks by what it is handed. It is called again when an answer is taken back, so that it must do nothing else.
        """
        while True:
            self._order = []
            try:
                return questions(self.ask)
            except _Back:
                continue
            except DebriscountError as error:
                if self._ended or not self._order:
                    raise
                said_aside(str(error))  # of answers that do not go together, the last is asked for again
                self._take_back(self._order[-1])

    def ask(self, question: str, usual: str, read: Callable[[str], Answer], /) -> Answer:
        """Put a question until its answer can be read; without a usual answer, "" is none."""
        if self.silent:
            return read(usual)
        if question in self.answers:
            try:
                found = read(self.answers[question])
                self.asked = True
                self._order.append(question)
                return found
            except DebriscountError:  # it was right beside another answer, which has changed since
                del self.answers[question]
        self.asked = True
        while True:
            answer = self._prompted(lambda: str(typer.prompt(question, default=usual, show_default=bool(usual))))
            if answer.strip() == BACK:
                if not self._order:
                    said_aside("this is the first question")
                    continue
                self._take_back(self._order[-1])
                raise _Back
            try:
                found = read(answer)
            except DebriscountError as error:
                said_aside(str(error))
                continue
            self.answers[question] = answer
            self._order.append(question)
            self._keep(self.answers)
            return found

    def corrected(self, questions: Callable[[Ask], Gathered], show: Callable[[Gathered], str], save: str) -> Gathered:
        """Gather answers, show what they make, and have them corrected one by one until they are as they should be.

        Parameters
        ----------
        questions : callable
            As for `gather`.
        show : callable
            What was gathered, as text.
        save : str
            Question that ends it, such as "Save this as a.toml?".

        Returns
        -------
        object
            What was gathered; where nothing was asked, nothing is shown.

        Raises
        ------
        typer.Exit
            It is not to be saved.
        """
        while True:
            found = self.gather(questions)
            if not self.asked:
                return found
            typer.echo(show(found).rstrip("\n"))
            shown = list(self._order)
            for number, question in enumerate(shown, start=1):
                typer.echo(f"{number:3}  {_short(question)}: {printable(self.answers[question], 60)}")
            answer = self._prompted(
                lambda: str(typer.prompt(f"{save} (yes, no, or the number of an answer to correct)", default="yes"))
            )
            word = answer.strip().lower()
            if word in ("y", "yes"):
                return found
            if word in ("n", "no"):
                said_aside("nothing saved")
                raise typer.Exit
            if word.isdecimal() and 1 <= int(word) <= len(shown):
                self._take_back(shown[int(word) - 1])
            else:
                said_aside(f'"{printable(answer, 40)}" is neither yes, no nor one of the numbers.')

    def _take_back(self, question: str) -> None:
        del self.answers[question]
        self._keep(self.answers)

    def _prompted(self, prompt: Callable[[], Answer]) -> Answer:
        try:
            return prompt()
        except typer.Abort as abort:  # stands for Ctrl-C and for the end of a pipe alike
            if isinstance(abort.__context__, KeyboardInterrupt):
                raise KeyboardInterrupt from None
            self._ended = True
            raise self.too_few(
                "the answers ended before the last question. Answer all, or add --yes for the usual ones."
            ) from None


def _short(question: str) -> str:
    """A question's last line, without what is said before it."""
    return question.rpartition("\n")[2]
