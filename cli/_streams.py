"""The one place through which all that is printed goes: no name or path can command the terminal."""

from typing import TextIO

from debriscount.errors import OutputError
from debriscount.printable import printable_lines


class PlainStream:
    """A text stream on which control characters are replaced, and which says in one line that it cannot be written.

    ``terminal`` is the stream itself, for what draws on the terminal on purpose.
    """

    def __init__(self, stream: TextIO, name: str) -> None:
        self.terminal = stream
        self._name = name

    def write(self, text: str) -> int:
        """Write text.

        Raises
        ------
        OutputError
            It cannot be written, and not because a reader has had enough.
        """
        plain = printable_lines(text)
        try:
            self.terminal.write(plain)
        except BrokenPipeError:
            raise
        except OSError as error:
            raise self._full(error) from None
        return len(text)

    def flush(self) -> None:
        """Hand on what was written; raises as `write` does."""
        try:
            self.terminal.flush()
        except BrokenPipeError:
            raise
        except OSError as error:
            raise self._full(error) from None

    def __getattr__(self, name: str) -> object:
        """All else is the stream's own, but for its bytes, which would go past this."""
        if name in ("buffer", "detach"):
            raise AttributeError(name)
        return getattr(self.terminal, name)

    def _full(self, error: OSError) -> OutputError:
        return OutputError(f"{self._name}: cannot be written ({error.strerror or error}). Print to a place with room.")
