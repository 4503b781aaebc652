"""Questions on the terminal, asked again where an answer cannot be."""

from collections.abc import Callable
from typing import Protocol, TypeVar

import typer

from debriscount.errors import DebriscountError

from ._terminal import said_aside

Answer = TypeVar("Answer")


class Ask(Protocol):
    """Puts a question, with the usual answer or "" if there is none, until ``read`` can read what is answered."""

    def __call__(self, question: str, usual: str, read: Callable[[str], Answer], /) -> Answer: ...


class Interview:
    """Silent, it takes the usual answer for every question."""

    def __init__(self, too_few: type[DebriscountError], *, silent: bool) -> None:
        self.too_few = too_few  # raised where the answers end before the questions
        self.silent = silent
        self.asked = False

    def ask(self, question: str, usual: str, read: Callable[[str], Answer], /) -> Answer:
        """Put a question until its answer can be read; without a usual answer, "" is none."""
        if self.silent:
            return read(usual)
        self.asked = True
        while True:
            answer = self._prompted(lambda: str(typer.prompt(question, default=usual, show_default=bool(usual))))
            try:
                return read(answer)
            except DebriscountError as error:
                said_aside(str(error))

    def confirmed(self, question: str) -> bool:
        """Whether what was asked for may be saved; nothing is asked where nothing was."""
        return not self.asked or self._prompted(lambda: typer.confirm(question, default=True))

    def _prompted(self, prompt: Callable[[], Answer]) -> Answer:
        try:
            return prompt()
        except typer.Abort as abort:  # stands for Ctrl-C and for the end of a pipe alike
            if isinstance(abort.__context__, KeyboardInterrupt):
                raise KeyboardInterrupt from None
            raise self.too_few(
                "the answers ended before the last question. Answer all, or add --yes for the usual ones."
            ) from None
