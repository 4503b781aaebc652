"""A patch from a person's answers: given on the command line, or when asked."""

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from debriscount.errors import PatchLayoutError
from debriscount.inputs.names import name_fault
from debriscount.inputs.patch import WALL_SIDES, Marker, Patch
from debriscount.layout.check_layout import USUAL_MEGAPIXELS, check_layout
from debriscount.layout.lay_patch import check_sizes, lay_patch, usual_side_mm
from debriscount.layout.paper import check_fits_page, page_mm

from ._interview import Answer, Ask

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


@dataclass(frozen=True, slots=True, kw_only=True)
class PatchAnswers:
    """What a patch is to be.

    ``markers`` holds number, x and y in mm of squares that the person lays by own choice; none for the usual places.
    ``paper`` is what the squares are to be printed on, ``megapixels`` what the photos will have.
    """

    name: str
    size_mm: tuple[float, float]
    walls: tuple[str, ...]
    side_mm: float
    edge_mm: float
    corner_mm: float
    margin_mm: float
    paper: str
    markers: tuple[tuple[int, float, float], ...] = ()
    megapixels: float = USUAL_MEGAPIXELS


def gather_answers(
    given: Mapping[str, str | None],
    walls: Sequence[str],
    markers: Sequence[str],
    ask: Ask,
    megapixels: float = USUAL_MEGAPIXELS,
) -> PatchAnswers:
    """Read what is given, and ask for the rest of what matters.

    Parameters
    ----------
    given : mapping of str to str or None
        Words for name, size, place, edge, corner, margin, side and paper, as the functions above read
        them; None or missing where they are to be asked for.
    walls, markers : sequence of str
        Sides with a wall, and squares as "3,-50,30"; may be empty.
    ask : callable
        Takes question, usual answer and what reads an answer.
    megapixels : float
        Of the photos.

    Returns
    -------
    PatchAnswers

    Raises
    ------
    PatchLayoutError, SheetError
        Something given cannot be read.
    """

    def answer(key: str, question: str, usual: str, read: Callable[[str], Answer], *, matters: bool = True) -> Answer:
        word = given.get(key)
        if word is None and matters:
            return ask(question, usual, read)
        return read(usual if word is None else word)

    own = tuple(read_marker(text) for text in markers)
    name = answer("name", "Name of the patch", "patch", read_name)
    size = answer("size", "Width x height of the patch, mm", "600x400", read_size)
    if given.get("place") is None and walls:
        sides = read_walls(walls)
    else:
        place = answer("place", "Where it lies (open, wall, corner)", "open", read_place)
        sides = _walls_of(place, walls, ask)
    edge_mm, corner_mm, margin_mm = (f"{width:g}" for width in usual_widths_mm(size))
    read, in_corner = read_width, len(sides) == 2
    edge = answer("edge", "Edge: strip along a wall, mm wide", edge_mm, read, matters=bool(sides))
    corner = answer("corner", "Corner: square where the walls meet, mm wide", corner_mm, read, matters=in_corner)
    margin = answer("margin", "Margin: ring around the patch, mm wide", margin_mm, read)
    usual_mm = f"{usual_side_mm(*size, margin):g}"
    side = answer("side", "Side of the black squares, mm", usual_mm, read_side)
    paper = answer("paper", "Paper to print them on (a4, letter)", "a4", read_paper)
    return PatchAnswers(
        name=name,
        size_mm=size,
        walls=sides,
        side_mm=side,
        edge_mm=edge,
        corner_mm=corner,
        margin_mm=margin,
        paper=paper,
        markers=own,
        megapixels=megapixels,
    )


def _walls_of(place: str, walls: Sequence[str], ask: Ask) -> tuple[str, ...]:
    if walls or place == "open":
        return read_walls(walls, place)
    sides = "top, right, bottom, left"
    if place == "wall":
        return ask(f"Side with the wall ({sides})", "top", lambda text: read_walls([text], place))
    return ask(f"Two sides with the walls (of {sides})", "top,left", lambda text: read_walls([text], place))


def make_patch(answers: PatchAnswers) -> Patch:
    """Lay out the patch that was asked for.

    Parameters
    ----------
    answers : PatchAnswers
        As the functions of this module read them.

    Returns
    -------
    Patch

    Raises
    ------
    PatchLayoutError
        The layout cannot work, for every reason that `check_layout` finds.
    SheetError
        A square does not fit the paper.
    """
    size, zones = answers.size_mm, (answers.edge_mm, answers.corner_mm, answers.margin_mm)
    if answers.markers:
        check_sizes(*size, *zones)
        walls = tuple(wall for wall in WALL_SIDES if wall in answers.walls)
        markers = tuple(Marker(number, (x, y), answers.side_mm) for number, x, y in answers.markers)
        patch = Patch(answers.name, *size, walls, markers, *zones)
    else:
        widths = dict(zip(("edge_mm", "corner_mm", "margin_mm"), zones, strict=True))
        patch = lay_patch(*size, answers.walls, name=answers.name, marker_side_mm=answers.side_mm, **widths)
    check_layout(patch, answers.megapixels)
    for marker in patch.markers:
        check_fits_page(marker, answers.paper)
    return patch


def usual_widths_mm(size_mm: tuple[float, float]) -> tuple[float, float, float]:
    """Widths of edge, corner and margin unless others are asked for, mm: less than the usual on a small patch.

    They are our own choice, none of a standard's.
    """
    short = min(size_mm)
    return min(30.0, short // 4), min(60.0, short // 2), min(60.0, short // 2)


def patch_text(patch: Patch, paper: str) -> str:
    """Return a patch as sentences for people, to be read once more before it is saved."""
    corner, edge = f", corner {patch.corner_mm:g} mm", f", edge {patch.edge_mm:g} mm"
    names = patch.zone_names()
    lines = [
        f'Patch "{patch.name}": {patch.width_mm:g} x {patch.height_mm:g} mm,'
        f" {'wall at ' + ' and '.join(patch.walls) if patch.walls else 'no wall'}.",
        f"Zones: open{edge * ('edge' in names)}{corner * ('corner' in names)}, margin {patch.margin_mm:g} mm.",
        f"Markers of {patch.markers[0].side_mm:g} mm for {paper} paper, centres in mm,",
        "from the top-left corner, x to the right, y down:",
    ]
    lines += [f"  {m.id:>2}  x {m.center_mm[0]:>8g}  y {m.center_mm[1]:>8g}" for m in patch.markers]
    return "\n".join(lines) + "\n"
