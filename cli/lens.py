"""``debriscount lens``."""

from pathlib import Path
from typing import Annotated

import typer

from ._options import Json, Quiet
from ._terminal import print_record, progress_bar, said_aside


def lens(
    photos: Annotated[
        list[Path], typer.Argument(metavar="PHOTO", help="Ten or more photos of a printed board, by one camera.")
    ],
    *,
    board: Annotated[
        str,
        typer.Option(metavar="COLSxROWS", help="Inner corners of a chessboard, or squares of a ChArUco board."),
    ],
    square_mm: Annotated[float, typer.Option(metavar="S", help="Side of the board's squares, as measured.")],
    out: Annotated[Path, typer.Option(metavar="FILE", help="Lens file to write, such as calibration/lens/NAME.toml.")],
    charuco: Annotated[
        str | None,
        typer.Option(metavar="DICT", help="For a ChArUco board: the dictionary of its markers, such as DICT_5X5_100."),
    ] = None,
    marker_mm: Annotated[
        float | None, typer.Option(metavar="S", help="For a ChArUco board: side of its markers, as measured.")
    ] = None,
    name: Annotated[str | None, typer.Option(help="Name of the lens; the name of the file if not given.")] = None,
    json: Json = False,
    quiet: Quiet = False,
) -> None:
    """Make a lens file from photos of a printed board.

    measure, count and shot take it with --lens.

    Hold the flat board into all parts of the frame, out to its corners, tilted one way and another. Keep the
    focal length (the same lens of a phone, no zoom) and the size of the photos.
    """
    from debriscount.opencv import require_opencv

    require_opencv()
    from debriscount.camera.boards import Board, parse_size
    from debriscount.camera.calibrate import calibrate_lens
    from debriscount.inputs.lens_file import check_lens_name, refuse_other_files, write_lens
    from debriscount.report.lens import lens_json, lens_text

    check_lens_name(name or out.stem)
    refuse_other_files(out)
    printed = Board(*parse_size(board), square_mm, charuco, marker_mm)
    with progress_bar(not quiet) as progress:
        learnt = calibrate_lens(photos, printed, name or out.stem, progress=progress)
    write_lens(learnt.lens, out, learnt.remark)
    if json:
        print_record(lens_json(learnt))
    elif not quiet:
        typer.echo(lens_text(learnt), nl=False)
    if not quiet:
        said_aside(f"wrote {out}")
