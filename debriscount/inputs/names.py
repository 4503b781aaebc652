"""Names that people give to patches, zones, kinds of debris and lenses, as they stand in tables and pictures."""

from collections.abc import Container

from ..printable import spoils

#: Pictures and tables shorten longer ones anyway.
MOST_NAME = 100
#: What tables call all of them together.
_ALL = ("all", "total")


def name_fault(name: str, taken: Container[str] = ()) -> str:
    """Return what speaks against a name, such as "must not be empty", or nothing.

    Parameters
    ----------
    name : str
        Without blanks around it.
    taken : container of str
        Further words, in small letters, that tables use for something else, beside "all" and "total".
    """
    if not name:
        return "must not be empty"
    if len(name) > MOST_NAME:
        return f"must have at most {MOST_NAME} characters"
    if spoils(name):
        return "must not hold control characters, line breaks or marks that turn the direction of writing"
    if name.casefold() in _ALL or name.casefold() in taken:
        return f'must not be "{name}", which stands for something else in tables'
    return ""
