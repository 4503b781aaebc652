"""``debriscount patch``: the file that describes a patch."""

from pathlib import Path
from typing import Annotated

import typer

from ._interview import Interview
from ._options import OverwriteFile, WallSides, Yes
from ._terminal import said_aside

patch = typer.Typer(help="Describe a patch of floor.", no_args_is_help=True, rich_markup_mode=None)


@patch.callback()
def _group() -> None:
    pass


@patch.command()
def new(
    *,
    out: Annotated[Path, typer.Option(metavar="FILE", help="The file to write.")] = Path("patch.toml"),
    name: Annotated[str | None, typer.Option(help="Name of the patch.")] = None,
    size: Annotated[str | None, typer.Option(metavar="WxH", help='Size of the patch in mm, such as "600x400".')] = None,
    place: Annotated[
        str | None, typer.Option(help="Where it lies: open (no wall), wall (one) or corner (two).")
    ] = None,
    wall: WallSides = None,
    edge: Annotated[
        str | None, typer.Option(metavar="MM", help="Width of the edge zone, the strip along a wall.")
    ] = None,
    corner: Annotated[
        str | None, typer.Option(metavar="MM", help="Side of the corner zone, the square where two walls meet.")
    ] = None,
    margin: Annotated[
        str | None, typer.Option(metavar="MM", help="Width of the margin, the ring around the patch.")
    ] = None,
    side: Annotated[str | None, typer.Option("--marker-side", metavar="MM", help="Side of the black squares.")] = None,
    marker: Annotated[
        list[str] | None, typer.Option(metavar="ID,X,Y", help="Marker at a place of your own, in mm; once for each.")
    ] = None,
    laid: Annotated[
        Path | None,
        typer.Option(metavar="PHOTO", help="Photo of the squares as they lie on open floor, laid anyhow."),
    ] = None,
    tape: Annotated[
        str | None,
        typer.Option(metavar="MM", help="With --laid: what a tape measure says between the squares it names."),
    ] = None,
    room: Annotated[
        str | None,
        typer.Option(metavar="WxH", help='A room instead of a patch, in metres, such as "4x3m"; asks nothing.'),
    ] = None,
    paper: Annotated[str | None, typer.Option(help="Paper to print on: a4, letter, a3 or tabloid.")] = None,
    megapixels: Annotated[float, typer.Option(min=0.05, help="Megapixels of the camera.")] = 12.0,
    yes: Yes = False,
    overwrite: OverwriteFile = False,
) -> None:
    """Write a patch file; asks for what is not given.

    It refuses a layout whose markers cannot work, and says why. For a room give --room and each --wall; squares are
    then larger, on A3 paper unless --paper says otherwise, and the file says how many there are and where they lie.
    """
    if room is not None:
        from ._room_answers import patch_of_room

        widths = {"edge": edge, "corner": corner, "margin": margin, "side": side}
        patch_of_room(room, wall or [], name, paper, widths, out, overwrite=overwrite)
        return
    if laid is not None:
        from ._laid_answers import patch_of_laid

        given = {"name": name, "size": size, "margin": margin, "side": side, "tape": tape}
        patch_of_laid(laid, given, out, silent=yes, overwrite=overwrite)
        return
    from debriscount.errors import PatchLayoutError
    from debriscount.inputs.patch_write import patch_toml
    from debriscount.inputs.save import refuse_existing, save_files

    from ._patch_answers import gather_answers, make_patch, patch_text

    if not overwrite:
        refuse_existing([out])
    interview = Interview(PatchLayoutError, silent=yes)
    given = {"name": name, "size": size, "place": place, "side": side, "paper": paper}
    given |= {"edge": edge, "corner": corner, "margin": margin}
    answers = interview.corrected(
        lambda ask: gather_answers(given, wall or [], marker or [], ask, megapixels),
        lambda answers: patch_text(make_patch(answers), answers.paper),
        f"Save this as {out}?",
    )
    made = make_patch(answers)
    if not interview.asked:
        typer.echo(patch_text(made, answers.paper), nl=False)
    save_files({out: patch_toml(made).encode()}, overwrite=overwrite)
    said_aside(f"wrote {out}; print its markers with")
    typer.echo(f"debriscount markers --patch {out} --paper {answers.paper} --out markers.pdf", err=True)
