"""Which outlines of a pinch are single grains, as a person writes it."""

import re

from debriscount.errors import PortionError
from debriscount.portions.pinch import Pinch

_PART = re.compile(r"(\d{1,4})(?:\s*-\s*(\d{1,4}))?")


def read_mm(text: str) -> float:
    """Return a length in millimetres."""
    try:
        return float(text.strip().replace(",", ".", 1))
    except ValueError:
        raise PortionError(f'a length must be a number of millimetres, such as 50, got "{text}".') from None


def read_numbers(text: str, pinch: Pinch) -> tuple[int, ...]:
    """Return numbers of outlines from "1-12, 15", "all", "all but 3, 7" or "likely"."""
    word = text.strip().lower()
    everything = range(1, len(pinch.grains) + 1)
    if word == "likely":
        return tuple(number for number in everything if pinch.grains[number - 1].likely)
    if word == "all":
        return tuple(everything)
    without = word.startswith("all but ")
    named: set[int] = set()
    for part in word.removeprefix("all but ").replace(",", " , ").split(","):
        found = _PART.fullmatch(part.strip())
        if found is None:
            raise PortionError(f'outlines must be named "1-12, 15", "all but 3, 7" or "likely", got "{text}".')
        first, last = int(found[1]), int(found[2] or found[1])
        named |= set(range(first, last + 1))
    if wrong := sorted(named - set(everything)):
        raise PortionError(f"there is no outline {wrong[0]}: they go from 1 to {len(pinch.grains)}.")
    return tuple(sorted(set(everything) - named if without else named))
