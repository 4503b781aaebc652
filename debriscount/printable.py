"""What comes from outside, paths and names and keys of files, as text that may stand in a line or a table."""

import re

#: Control characters, halves of surrogates (bytes of a name that is not UTF-8), ends of lines, and marks that turn the
#: direction of writing round, by which a line can say something else than it shows (UAX #9).
_SPOILS = re.compile("[\x00-\x1f\x7f-\x9f\ud800-\udfff\u061c\u200e\u200f\u2028-\u202e\u2066-\u2069]")
#: What a cell begins with that spreadsheets take for a formula; they pass over the blanks before it.
_FORMULA = ("=", "+", "-", "@", "\t", "\r")
_IN_ITS_PLACE = "\N{REPLACEMENT CHARACTER}"


def spoils(text: str) -> bool:
    """Whether a text holds a character that may not stand in a line."""
    return _SPOILS.search(text) is not None


def printable(text: object, most: int | None = None) -> str:
    """Return a path, name or message as it can be printed on one line and written as UTF-8.

    Parameters
    ----------
    text : object
        Anything that has a text.
    most : int, optional
        Characters that it may take; of a longer one, the middle is left out.

    Returns
    -------
    str
    """
    whole = str(text)
    if most is not None and len(whole) > most:
        whole = f"{whole[: most - most // 3 - 3]}...{whole[len(whole) - most // 3 :]}"
    return _SPOILS.sub(_IN_ITS_PLACE, whole)


def printable_lines(text: str) -> str:
    """Return text of several lines as it can be printed; tabs stay too."""
    return "".join(part if part in "\n\t" else printable(part) for part in re.split("([\n\t])", text))


def csv_cell(cell: object) -> object:
    """Return a cell as spreadsheets show it: text that begins as a formula does gets an apostrophe before it.

    A number stays one, written as text or not, with its sign.
    """
    if not isinstance(cell, str) or not cell.lstrip(" ").startswith(_FORMULA):
        return cell
    try:
        float(cell)
    except ValueError:
        return f"'{cell}"
    return cell
