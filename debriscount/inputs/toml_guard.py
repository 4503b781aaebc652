"""TOML that would take a parser more than it is worth: nested beyond all use, or with numbers beyond all measure."""

import math
import re
from collections.abc import Iterator, Mapping
from typing import Any

#: Tables, lists and dotted keys within one another; ours go to four.
MOST_NESTED = 16
#: Beyond these no number in a file can be meant: they leave room for any unit and for what rounding leaves of 0, and
#: ratios of them for their squares.
LEAST_NUMBER, MOST_NUMBER = 1e-40, 1e15
#: Digits from which on Python's own words about a number say nothing to a person.
_LONG = re.compile(r"\d[\d_]{99,}")
_TOKEN = re.compile(r'"""|' + r"'''|" + r"[\"'\[\]{}.=,\n]|#[^\n]*")
#: Ends of strings, by what begins them. A string that does not end is looked for once: a search from each quote would
#: take hours.
_ENDS = {
    '"""': re.compile(r'(?:\\.|[^\\])*?"{3,5}', re.DOTALL),
    "'''": re.compile(r".*?'{3,5}", re.DOTALL),
    '"': re.compile(r'(?:\\.|[^"\\\n])*+"'),
    "'": re.compile(r"[^'\n]*'"),
}


def line_nested_too_deeply(text: str) -> int | None:
    """Line (1 is the first) on which lists, tables or dotted keys are nested beyond `MOST_NESTED`; None if nowhere.

    Takes time in proportion to the text, valid TOML or not.
    """
    at, line, open_, dots = 0, 1, 0, 0
    while found := _TOKEN.search(text, at):
        token, at = found[0], found.end()
        if token in _ENDS:
            end = _ENDS[token].match(text, at)
            if end is None:
                return None  # which the parser will say
            line, at = line + end[0].count("\n"), end.end()
        elif token == "\n":
            line, dots = line + 1, 0
        elif token in "[{":
            open_, dots = open_ + 1, 0
        elif token in "]}":
            open_, dots = max(open_ - 1, 0), 0
        elif token in "=,":
            dots = 0
        elif token == ".":
            dots += 1
        if open_ + dots > MOST_NESTED:
            return line
    return None


def line_of_long_number(text: str) -> int | None:
    """Line of the first number of a hundred digits or more, None if there is none."""
    found = _LONG.search(text)
    return None if found is None else text.count("\n", 0, found.start()) + 1


def numbers_beyond_measure(content: Mapping[str, Any]) -> Iterator[tuple[str | int, ...]]:
    """Yield the place of each number that is too large, or too near 0 without being it."""
    waiting: list[tuple[tuple[str | int, ...], Any]] = [((), content)]
    while waiting:
        place, value = waiting.pop()
        if isinstance(value, dict):
            waiting += [((*place, key), part) for key, part in value.items()]
        elif isinstance(value, list):
            waiting += [((*place, number), part) for number, part in enumerate(value)]
        # What is infinite or no number is told of by its key's own rule.
        elif isinstance(value, int | float) and (MOST_NUMBER < abs(value) < math.inf or 0 < abs(value) < LEAST_NUMBER):
            yield place
