"""Tables as the text of a TOML file, each key with a remark on what its name leaves open."""

from collections.abc import Mapping
from typing import Any

import tomlkit

Content = Mapping[str, Any]


def toml_text(content: Content, remarks: Mapping[str, str], *, head: str = "", digits: int = 17) -> str:
    """Return a TOML file.

    Parameters
    ----------
    content : mapping of str to object
        Tables by name. In a table a mapping becomes an inline table, a list of mappings a list of tables, of which the
        first alone bears remarks; what is None is left out.
    remarks : mapping of str to str
        A comment behind each key of that name.
    head : str
        Each line becomes a comment at the file's head.
    digits : int
        Most digits of a number; 17 tell any from all others. Whole ones are written as a person does, 600 for 600.0.

    Returns
    -------
    str
    """
    document = tomlkit.document()
    for line in head.splitlines():
        document.add(tomlkit.comment(line))
    for name, table in content.items():
        document.add(
            name, _several(table, remarks, digits) if _are_tables(table) else toml_table(table, remarks, digits)
        )
    return tomlkit.dumps(document)


def _are_tables(value: Any) -> bool:
    return isinstance(value, tuple | list) and bool(value) and isinstance(value[0], Mapping)


def _several(contents: Any, remarks: Mapping[str, str], digits: int) -> Any:
    tables = tomlkit.aot()
    for number, content in enumerate(contents):
        tables.append(toml_table(content, remarks if number == 0 else {}, digits))
    return tables


def toml_table(content: Content, remarks: Mapping[str, str], digits: int = 17) -> Any:
    """Return a table of a TOML document, as `toml_text` writes it."""
    table = tomlkit.table()
    for key, value in content.items():
        if _are_tables(value):
            table.add(key, _several(value, remarks, digits))
        elif value is not None:
            item = tomlkit.item(_plain(value, digits))
            if key in remarks:
                item.comment(remarks[key])
            table.add(key, item)
    return table


def _plain(value: Any, digits: int) -> Any:
    if isinstance(value, Mapping):
        inline = tomlkit.inline_table()
        inline.update({key: _plain(part, digits) for key, part in value.items()})
        return inline
    if isinstance(value, tuple | list):
        return [_plain(part, digits) for part in value]
    if not isinstance(value, float):
        return value
    short = float(f"{value:.{digits}g}")
    return int(short) if short.is_integer() and abs(short) < 1e15 else short
