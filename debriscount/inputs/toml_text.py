"""TOML files with the line on which each key stands, which ``tomllib`` does not tell."""

import re
import tomllib
from bisect import bisect_left
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from ..errors import InputFileError
from .text_file import file_text
from .toml_guard import (
    LEAST_NUMBER,
    MOST_NUMBER,
    line_nested_too_deeply,
    line_of_long_number,
    numbers_beyond_measure,
)

#: Where a value stands: table names and keys, with a number for an entry of a list.
Place = tuple[str | int, ...]

_BARE_KEY = re.compile(r"[A-Za-z0-9_-]+")
_SPACE = re.compile(r"(?:[ \t\r\n]|#[^\n]*)*")
_QUOTED = re.compile(
    r'"""(?:\\.|[^\\])*?"{3,5}|' + r"'''.*?'{3,5}|" + r'"(?:\\.|[^"\\\n])*"|' + r"'[^'\n]*'", re.DOTALL
)
_SCALAR = re.compile(r"[^,\]}#\n]+")
_AT_LINE = re.compile(r"^(?P<what>.*?) \(at (?:line (?P<line>\d+), column \d+|end of document)\)$", re.DOTALL)


@dataclass(frozen=True, slots=True)
class TomlText:
    """A TOML file: its content and the line of every key in it."""

    path: Path
    content: dict[str, Any]
    lines: dict[Place, int]

    def line_of(self, place: Place) -> int | None:
        """Line (1 is the first) of a key, or of the nearest thing around it that the file has.

        Parameters
        ----------
        place : tuple of str and int
            Such as ``("markers", 2, "side_mm")``.

        Returns
        -------
        int or None
            None where not even the outermost table is in the file.
        """
        for length in range(len(place), 0, -1):
            if place[:length] in self.lines:
                return self.lines[place[:length]]
        return None

    def error(self, place: Place, message: str) -> InputFileError:
        """Return the error that says ``message`` about a place of this file, with its line."""
        line = self.line_of(place)
        at = "" if line is None else f" line {line}"
        return InputFileError(f"{self.path}{at}: {message}")


def read_toml(path: Path, what: str) -> TomlText:
    """Read a TOML file.

    Parameters
    ----------
    path : Path
        The file.
    what : str
        What the file is for the reader of a message, such as "patch file".

    Returns
    -------
    TomlText

    Raises
    ------
    InputFileError
        The file is missing, no file, larger than a megabyte, unreadable, not UTF-8, not TOML, nested beyond use, or
        holds a number beyond measure.
    """
    text = file_text(path, what).replace("\r\n", "\n")
    line = line_nested_too_deeply(text)
    if line is not None:
        raise InputFileError(f"{path} line {line}: is nested too deeply. Give a {what}.")
    try:
        content = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise _syntax_error(path, text, str(error)) from None
    except ValueError:  # Python's limit of digits
        line = line_of_long_number(text)
        raise InputFileError(f"{path} line {line}: holds a number of too many digits. Correct this line.") from None
    toml = TomlText(path, content, _Scan(text).lines())
    for place in numbers_beyond_measure(content):
        raise toml.error(
            place,
            f"{'.'.join(map(str, place))} must be 0, or between {LEAST_NUMBER:g} and {MOST_NUMBER:g}, with either sign."
            " Correct this number.",
        )
    return toml


def _syntax_error(path: Path, text: str, message: str) -> InputFileError:
    found = _AT_LINE.match(message)
    what = found["what"] if found else message
    line = int(found["line"]) if found and found["line"] else text.rstrip("\n").count("\n") + 1
    return InputFileError(f"{path} line {line}: not valid TOML: {what}. Correct this line.")


def _name(token: str) -> str:
    """A key as ``tomllib`` has it: quotes and escapes undone."""
    if token.startswith('"') and "\\" in token:
        return str(tomllib.loads(f"key = {token}")["key"])
    return token[1:-1] if token[0] in "\"'" else token


class _Scan:
    """One walk over text that ``tomllib`` has accepted, noting lines; so nothing is checked again."""

    def __init__(self, text: str) -> None:
        self._text = text
        self._at = 0
        self._line_ends = [found.start() for found in re.finditer("\n", text)]
        self._lines: dict[Place, int] = {}
        self._entries: dict[Place, int] = {}  # lists of tables: number of the entry in force

    def lines(self) -> dict[Place, int]:
        table: Place = ()
        while self._skip_space():
            if self._text[self._at] == "[":
                table = self._header()
            else:
                self._key_and_value(table)
        return self._lines

    def _skip_space(self) -> bool:
        found = _SPACE.match(self._text, self._at)
        self._at = found.end() if found else self._at
        return self._at < len(self._text)

    def _note(self, place: Place) -> None:
        self._lines.setdefault(place, bisect_left(self._line_ends, self._at) + 1)

    def _header(self) -> Place:
        start = self._at
        opens_entry = self._text.startswith("[[", start)
        self._at += 2 if opens_entry else 1
        names = self._key()
        self._at += 2 if opens_entry else 1
        end, self._at = self._at, start
        place: Place = ()
        for number, name in enumerate(names, start=1):
            place = (*place, name)
            self._note(place)
            if opens_entry and number == len(names):
                self._entries[place] = self._entries.get(place, -1) + 1
            if place in self._entries:
                place = (*place, self._entries[place])
                self._note(place)
        self._at = end
        return place

    def _key(self) -> list[str]:
        names = []
        while True:
            self._skip_space()
            found = _BARE_KEY.match(self._text, self._at) or _QUOTED.match(self._text, self._at)
            assert found is not None  # tomllib has read this key
            names.append(_name(found[0]))
            self._at = found.end()
            self._skip_space()
            if self._text[self._at] != ".":
                return names
            self._at += 1

    def _key_and_value(self, table: Place) -> None:
        start = self._at
        names = self._key()
        end, self._at = self._at, start
        for length in range(1, len(names) + 1):
            self._note((*table, *names[:length]))
        self._at = end + 1  # past the equals sign
        self._value((*table, *names))

    def _value(self, place: Place) -> None:
        self._skip_space()
        self._note(place)
        opening = self._text[self._at]
        if opening in "[{":
            self._at += 1
            entry = 0
            while self._skip_space() and self._text[self._at] not in "]}":
                if self._text[self._at] == ",":
                    self._at += 1
                elif opening == "[":
                    self._value((*place, entry))
                    entry += 1
                else:
                    self._key_and_value(place)
            self._at += 1
            return
        found = _QUOTED.match(self._text, self._at) or _SCALAR.match(self._text, self._at)
        assert found is not None  # tomllib has read this value
        self._at = found.end()
