"""A patch of a whole room from what is given on the command line."""

from collections.abc import Mapping, Sequence
from pathlib import Path

import typer

from debriscount.errors import PatchLayoutError
from debriscount.inputs.patch_write import patch_toml
from debriscount.inputs.save import refuse_existing, save_files
from debriscount.layout.lay_room import lay_room

from ._patch_answers import patch_text, read_name, read_paper, read_side, read_width
from ._terminal import said_aside


def read_room(text: str) -> tuple[float, float]:
    """Return width and height, mm, from "4x3m"."""
    try:
        width, height = (1000 * float(part) for part in text.strip().lower().removesuffix("m").split("x"))
    except ValueError:
        raise PatchLayoutError(f'the room must be written "4x3m" (width x height in metres), got "{text}".') from None
    return width, height


def patch_of_room(
    size: str,
    walls: Sequence[str],
    name: str | None,
    paper: str | None,
    widths: Mapping[str, str | None],
    out: Path,
    *,
    overwrite: bool,
) -> None:
    """Lay out a room, save its patch file and say what to do next.

    Parameters
    ----------
    size : str
        "4x3m".
    walls : sequence of str
        Sides with a wall, "top" or "top,left".
    name, paper : str or None
        Name of the patch, and what its squares are printed on.
    widths : mapping of str to str or None
        Of "edge", "corner" and "margin", and "side" of the squares, mm; None for the usual.
    out : Path
        The file to write.
    overwrite : bool
        Whether it may be replaced.

    Raises
    ------
    PatchLayoutError, SheetError
        A size, wall, width or paper that cannot be.
    """
    if not overwrite:
        refuse_existing([out])
    given = {key: read_width(text) for key, text in widths.items() if text is not None and key != "side"}
    side = widths.get("side")
    width, height = read_room(size)
    page = read_paper(paper or "a3")
    patch = lay_room(
        width,
        height,
        [part.strip().lower() for text in walls for part in text.split(",") if part.strip()],
        name=read_name(name or "room"),
        paper=page,
        marker_side_mm=None if side is None else read_side(side),
        **{f"{key}_mm": value for key, value in given.items()},
    )
    typer.echo(patch_text(patch, page), nl=False)
    if patch.not_floor:
        typer.echo(
            "Squares inside the room hide floor: their paper is left out as no floor. Tape them down all around."
        )
    save_files({out: patch_toml(patch).encode()}, overwrite=overwrite)
    said_aside(f"wrote {out}; print its markers with")
    typer.echo(f"debriscount markers --patch {out} --paper {page} --out markers.pdf", err=True)
