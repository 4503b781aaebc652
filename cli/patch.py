"""``debriscount patch``: the file that describes a patch."""

from pathlib import Path
from typing import Annotated

import typer

from ._interview import Interview
from ._terminal import said_aside

patch = typer.Typer(help="Describe a patch of floor.", no_args_is_help=True, rich_markup_mode=None)


@patch.callback()
def _group() -> None:
    pass


@patch.command()
def new(
    *,
    out: Annotated[Path, typer.Option(metavar="FILE", help="The file to write.")] = Path("patch.toml"),
    name: Annotated[str | None, typer.Option(help="Of the patch.")] = None,
    size: Annotated[str | None, typer.Option(metavar="WxH", help='Of the patch, mm, such as "600x400".')] = None,
    place: Annotated[str | None, typer.Option(help="open (no wall), wall (one) or corner (two).")] = None,
    wall: Annotated[
        list[str] | None, typer.Option(metavar="SIDE", help="top, right, bottom or left; once for each wall.")
    ] = None,
    edge: Annotated[str | None, typer.Option(metavar="MM", help="Width of the strip along a wall.")] = None,
    corner: Annotated[str | None, typer.Option(metavar="MM", help="Side of the square where walls meet.")] = None,
    margin: Annotated[str | None, typer.Option(metavar="MM", help="Width of the ring around the patch.")] = None,
    side: Annotated[str | None, typer.Option("--marker-side", metavar="MM", help="Of the black squares.")] = None,
    marker: Annotated[
        list[str] | None, typer.Option(metavar="ID,X,Y", help="A place of your own, mm; once for each marker.")
    ] = None,
    paper: Annotated[str | None, typer.Option(help="a4 or letter, to print the squares on.")] = None,
    megapixels: Annotated[float, typer.Option(min=0.05, help="Of the camera.")] = 12.0,
    yes: Annotated[bool, typer.Option("--yes", "-y", help="Take the usual for what is not given.")] = False,
    overwrite: Annotated[bool, typer.Option("--overwrite", help="Replace a file that is there.")] = False,
) -> None:
    """Write a patch.toml whose markers can work; asks for what the options leave open."""
    from debriscount.errors import PatchLayoutError
    from debriscount.inputs.patch_answers import gather_answers, make_patch, patch_text
    from debriscount.inputs.patch_write import patch_toml
    from debriscount.inputs.save import refuse_existing, save_files

    if not overwrite:
        refuse_existing([out])
    interview = Interview(PatchLayoutError, silent=yes)
    given = {"name": name, "size": size, "place": place, "side": side, "paper": paper}
    given |= {"edge": edge, "corner": corner, "margin": margin}
    answers = gather_answers(given, wall or [], marker or [], interview.ask, megapixels)
    made = make_patch(answers)
    typer.echo(patch_text(made, answers.paper), nl=False)
    if not interview.confirmed(f"Save this as {out}?"):
        said_aside("nothing saved")
        raise typer.Exit
    save_files({out: patch_toml(made).encode()}, overwrite=overwrite)
    said_aside(f"wrote {out}; print its markers with")
    typer.echo(f"debriscount markers --patch {out} --paper {answers.paper} --out markers.pdf", err=True)
