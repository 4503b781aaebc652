"""``debriscount markers``."""

from pathlib import Path
from typing import Annotated

import typer

from ._options import OverwriteFile
from ._terminal import said_aside


def markers(
    *,
    patch: Annotated[Path, typer.Option(metavar="FILE", help="Patch file: where the markers lie.")],
    out: Annotated[
        Path, typer.Option(metavar="FILE", help="Sheet to write: .pdf, or .svg or .png with one file a page.")
    ],
    paper: Annotated[str, typer.Option(help="Paper to print on: a4, letter, a3 or tabloid.")] = "a4",
    printed_ruler_mm: Annotated[
        float | None,
        typer.Option(metavar="MM", help="True length of the printed ruler: write the corrected patch file to OUT."),
    ] = None,
    megapixels: Annotated[float, typer.Option(min=0.05, help="Megapixels of the camera.")] = 12.0,
    corner_angles: Annotated[
        bool, typer.Option("--corner-angles", help="Add a page of corner angles, to tape down on open floor.")
    ] = False,
    overwrite: OverwriteFile = False,
) -> None:
    """Draw the markers of a patch at true size, to be printed.

    The last pages show where each marker lies. If the printed ruler is not 100 mm long, --printed-ruler-mm corrects the
    patch file for what was printed.
    """
    if printed_ruler_mm is not None:
        from debriscount.layout.correct_patch import correct_patch_file

        correct_patch_file(patch, printed_ruler_mm, out, overwrite=overwrite)
        said_aside(f"wrote {out}: every side_mm times {printed_ruler_mm / 100:g}")
        return
    from debriscount.opencv import require_opencv

    require_opencv()
    from debriscount.layout.write_sheet import write_sheet

    written = write_sheet(patch, out, paper, megapixels=megapixels, corner_angles=corner_angles, overwrite=overwrite)
    said_aside(f"wrote {', '.join(str(path) for path in written)}")
