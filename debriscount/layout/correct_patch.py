"""patch.toml after a printer that scaled: the sides of the squares as they were printed."""

import re
from os import PathLike
from pathlib import Path
from typing import Any

from ..errors import SheetError
from ..inputs.patch_file import read_patch
from ..inputs.save import save_files
from ..inputs.text_file import file_content

#: Length of the ruler on every page of a sheet of markers, mm.
RULER_MM = 100.0
#: Printers that fit a page into their rim shrink it by 3 to 6 % (common practice, no source); what lies beyond a
#: tenth is a ruler read in other units, or from its wrong end.
_MOST_OFF_MM = 10.0
_MARK = "# side_mm corrected"
_CORRECTED = re.compile(rf"^[ \t]*{_MARK}: the printed ruler of 100 mm measured (\S+) mm", re.MULTILINE)


def correct_patch_file(
    path: str | PathLike[str], ruler_mm: float, out: str | PathLike[str], *, overwrite: bool = False
) -> None:
    """Write a patch file whose squares have the sides that the printer gave them.

    Parameters
    ----------
    path : path-like
        The patch file that the sheet was made from.
    ruler_mm : float
        What the printed ruler measures, mm.
    out : path-like
        Patch file to write, which may be the same.
    overwrite : bool
        Whether another file that is there may be replaced.

    Raises
    ------
    InputFileError
        The patch file has a fault.
    SheetError
        The reading cannot be, the file was corrected before, or ``out`` is no .toml file.
    OutputError
        The file cannot be written.
    """
    path, out = Path(path), Path(out)
    if out.suffix.lower() != ".toml":
        raise SheetError(
            f"{out}: a printed ruler corrects the patch file. Give a .toml file as --out, which may be {path} itself."
        )
    read_patch(path)
    text = file_content(path, "patch file").decode()
    content = corrected_text(text, ruler_mm, str(path)).encode()
    save_files({out: content}, overwrite=overwrite or (out.exists() and out.samefile(path)))


def corrected_text(text: str, ruler_mm: float, name: str) -> str:
    """Return a patch file's text with every side_mm scaled as the ruler was, and a first line that says so.

    Parameters
    ----------
    text : str
        Of a sound patch file; comments and order are kept, centres too: they were measured on the floor.
    ruler_mm : float
        What the printed ruler measures, mm.
    name : str
        Of the file, for messages.

    Returns
    -------
    str

    Raises
    ------
    SheetError
        The reading cannot be, or the file was corrected before.
    """
    import tomlkit

    if earlier := _CORRECTED.search(text):
        raise SheetError(
            f"{name}: its side_mm are corrected already, for a ruler that measured {earlier[1]} mm. If the squares were"
            " printed anew, restore the sides they were drawn with and delete that comment first."
        )
    _check_reading(ruler_mm)
    body = text.removeprefix("\ufeff")
    document: Any = tomlkit.parse(body)
    for marker in document["markers"]:
        marker["side_mm"] = round(float(marker["side_mm"]) * ruler_mm / RULER_MM, 4)
    ending = "\r\n" if "\r\n" in body else "\n"
    remark = (
        f"{_MARK}: the printed ruler of {RULER_MM:g} mm measured {ruler_mm:g} mm,"
        f" so every side_mm was multiplied by {ruler_mm / RULER_MM:g}."
    )
    return text[: len(text) - len(body)] + remark + ending + tomlkit.dumps(document)


def _check_reading(ruler_mm: float) -> None:
    if ruler_mm == RULER_MM:
        raise SheetError(
            "the printed ruler measures 100 mm: the squares have their true size, there is nothing to correct."
        )
    if not abs(ruler_mm - RULER_MM) <= _MOST_OFF_MM:
        raise SheetError(
            f"printed ruler of {ruler_mm:g} mm: that is more than {_MOST_OFF_MM:g} % off. Read it again, in millimetres"
            " from its first line to its last; if it is right, print the sheet again at 100 %."
        )
