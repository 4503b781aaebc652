"""A sheet of markers as files."""

from os import PathLike
from pathlib import Path

from ..errors import PatchLayoutError, SheetError
from ..inputs.patch import Patch
from ..inputs.patch_file import read_patch
from ..inputs.save import save_files
from .check_layout import USUAL_MEGAPIXELS, check_layout
from .corner_angles import draw_angles
from .draw import Page, page_files, plain_style
from .frame import framed_page
from .layout_pages import draw_layout, plan_layout
from .pages import lay_pages
from .paper import page_mm
from .squares import draw_paper

ENDINGS = (".pdf", ".svg", ".png")


def write_sheet(
    patch_file: str | PathLike[str],
    out: str | PathLike[str],
    paper: str = "a4",
    *,
    megapixels: float = USUAL_MEGAPIXELS,
    corner_angles: bool = False,
    overwrite: bool = False,
) -> list[Path]:
    """Draw a patch's squares at true size, and a sketch of where they lie.

    Parameters
    ----------
    patch_file : path-like
        The patch file.
    out : path-like
        A .pdf of all pages; or .svg or .png, to which each page's number is added.
    paper : str
        One of ``PAGES_MM``.
    megapixels : float
        Of the photos, to tell whether the squares can be read.
    corner_angles : bool
        Whether a page of corner angles comes last, to tape down on open floor.
    overwrite : bool
        Whether files that are there may be replaced.

    Returns
    -------
    list of Path
        The files. The same patch file makes the same bytes.

    Raises
    ------
    InputFileError
        The patch file has a fault.
    PatchLayoutError
        Its layout cannot work.
    SheetError
        A square does not fit the paper, or paper or ending is unknown.
    OutputError
        A file is there already, or cannot be written.
    """
    patch_file, out = Path(patch_file), Path(out)
    if out.suffix.lower() not in ENDINGS:
        ruler = " A .toml file is written with --printed-ruler-mm alone." * (out.suffix.lower() == ".toml")
        raise SheetError(f"{out}: a sheet must end in {', '.join(ENDINGS[:-1])} or {ENDINGS[-1]}.{ruler}")
    page_mm(paper)
    patch = read_patch(patch_file)
    try:
        check_layout(patch, megapixels)
    except PatchLayoutError as error:
        raise PatchLayoutError(f"{patch_file}: {error}") from None
    made = sheet_files(patch, out, paper, patch_file.name, corner_angles=corner_angles)
    return save_files(made, overwrite=overwrite)


def sheet_files(
    patch: Patch, out: Path, paper: str, patch_file: str = "patch.toml", *, corner_angles: bool = False
) -> dict[Path, bytes]:
    """Return what `write_sheet` writes, by path; the layout is taken as it is.

    Raises
    ------
    SheetError
        A square does not fit the paper, or the paper is unknown.
    """
    with plain_style():
        pages = draw_sheet(patch, paper, patch_file, corner_angles=corner_angles)
        return page_files(pages, f"Markers of {patch.name}", out)


def draw_sheet(patch: Patch, paper: str, patch_file: str, *, corner_angles: bool = False) -> list[Page]:
    """Return the pages of a sheet: the squares, the layout and, if wanted, the angles; within `plain_style`."""
    printed, layout = lay_pages(patch.markers, paper), plan_layout(patch, paper)
    count = len(printed) + len(layout) + corner_angles
    numbers = iter(range(1, count + 1))
    pages = []
    for squares in printed:
        page = framed_page(paper, f"Markers of {patch.name}", next(numbers), count, patch_file)
        for square in squares:
            draw_paper(page, square)
        pages.append(page)
    for step, tables in enumerate(layout):
        page = framed_page(paper, f"Layout of {patch.name}", next(numbers), count, patch_file)
        draw_layout(page, patch, tables, paper, first=step == 0)
        pages.append(page)
    if corner_angles:
        pages.append(draw_angles(paper, f"Corner angles of {patch.name}", next(numbers), count, patch_file))
    return pages
