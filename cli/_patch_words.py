"""The words in which a person describes a patch on the command line, or when asked, as values."""

import math
from collections.abc import Sequence

from debriscount.errors import PatchLayoutError
from debriscount.inputs.names import name_fault
from debriscount.inputs.patch import WALL_SIDES
from debriscount.layout.lay_patch import check_sizes
from debriscount.layout.paper import page_mm

#: Where a patch lies, and how many walls it has there.
PLACES = {"open": 0, "wall": 1, "corner": 2}
_HIGHEST_ID = 49  # of DICT_4X4_50


def read_name(text: str) -> str:
    """Return a patch's name, without what stands around it."""
    if not text.strip():
        raise PatchLayoutError("the patch needs a name.")
    if fault := name_fault(text.strip()):
        raise PatchLayoutError(f"the name of the patch {fault}.")
    return text.strip()


def read_size(text: str) -> tuple[float, float]:
    """Return width and height, mm, from "600x400"."""
    numbers = _numbers(text.lower().split("x"))
    if numbers is None or len(numbers) != 2:
        raise PatchLayoutError(f'the size must be written "600x400" (width x height in millimetres), got "{text}".')
    check_sizes(numbers[0], numbers[1], 0, 0, 0)
    return numbers[0], numbers[1]


def read_width(text: str) -> float:
    """Return the width of a zone, mm."""
    numbers = _numbers([text])
    if numbers is None or numbers[0] < 0:
        raise PatchLayoutError(f'a zone\'s width must be 0 or more millimetres, got "{text}".')
    return numbers[0]


def read_side(text: str) -> float:
    """Return the side of a square, mm."""
    numbers = _numbers([text])
    if numbers is None or numbers[0] <= 0:
        raise PatchLayoutError(f'the side of the black squares must be more than 0 millimetres, got "{text}".')
    return numbers[0]


def read_place(text: str) -> str:
    """Return one of ``PLACES``."""
    if text.strip().lower() not in PLACES:
        raise PatchLayoutError(f'place "{text}" is unknown. Known are: {", ".join(PLACES)}.')
    return text.strip().lower()


def read_paper(text: str) -> str:
    """Return one of ``PAGES_MM``; `SheetError` for any other."""
    page_mm(text)
    return text.strip().lower()


def read_walls(texts: Sequence[str], place: str | None = None) -> tuple[str, ...]:
    """Return the sides that have a wall.

    Parameters
    ----------
    texts : sequence of str
        "top" and "left", or "top,left".
    place : str, optional
        One of ``PLACES``, with as many walls as it has.

    Returns
    -------
    tuple of str

    Raises
    ------
    PatchLayoutError
        A side is unknown, or these walls do not make the place.
    """
    walls = [part.strip().lower() for text in texts for part in text.split(",") if part.strip()]
    for wall in walls:
        if wall not in WALL_SIDES:
            raise PatchLayoutError(f'wall "{wall}" is unknown. Known are: {", ".join(WALL_SIDES)}.')
    wanted = PLACES[place] if place else min(len(set(walls)), 2)
    if len(set(walls)) != wanted or len(walls) != wanted:
        named = ", ".join(walls) or "none"
        raise PatchLayoutError(
            f"a patch {_where(place)} has {('no wall', 'one wall', 'two walls')[wanted]}, got {named}."
            " Name each side that has a wall once."
        )
    if set(walls) in ({"top", "bottom"}, {"left", "right"}):
        raise PatchLayoutError(
            f"walls {' and '.join(walls)} make no corner. Name two sides that meet, such as top,left."
        )
    return tuple(walls)


def read_marker(text: str) -> tuple[int, float, float]:
    """Return number and centre, mm, of a square from "3,-50,30"."""
    parts = text.split(",")
    numbers = _numbers(parts[1:])
    if len(parts) != 3 or numbers is None or not parts[0].strip().isdecimal():
        raise PatchLayoutError(f'a marker must be written "3,-50,30" (number, x and y in millimetres), got "{text}".')
    number = int(parts[0])
    if number > _HIGHEST_ID:
        raise PatchLayoutError(f"marker {number} is unknown: dictionary DICT_4X4_50 has 0 to {_HIGHEST_ID}.")
    return number, numbers[0], numbers[1]


def _where(place: str | None) -> str:
    return {"open": "on open floor", "wall": "at one wall", "corner": "in a corner", None: "laid here"}[place]


def _numbers(texts: Sequence[str]) -> list[float] | None:
    """Return the numbers, or None where a text is none that can be a length."""
    try:
        numbers = [float(text) for text in texts]
    except ValueError:
        return None
    return numbers if all(math.isfinite(number) for number in numbers) else None
