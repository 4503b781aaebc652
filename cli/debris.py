"""``debriscount debris``."""

from pathlib import Path
from typing import Annotated

import typer

from ._group import ErrorsToExitCodes
from ._terminal import said_aside

debris = typer.Typer(cls=ErrorsToExitCodes, help="Kinds of debris: those there are, and new ones from a photo.")


@debris.callback()
def _group() -> None:
    pass


@debris.command(name="list")
def list_kinds() -> None:
    """List the kinds of debris that can be named: the campaign's own, and those that come with the package."""
    from debriscount.campaign.places import DEBRIS, around
    from debriscount.inputs.debris_names import debris_files
    from debriscount.report.debris import kinds_text

    home = around()
    typer.echo(kinds_text(dict(debris_files(None if home is None else home / DEBRIS))), nl=False)


@debris.command()
def copy(
    name: Annotated[str, typer.Argument(metavar="NAME", help="Kind, as debris list names it.")],
    *,
    out: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="File to write; in the campaign's folder of debris, or here, if not given."),
    ] = None,
    overwrite: Annotated[bool, typer.Option("--overwrite", help="Replace an existing file.")] = False,
) -> None:
    """Copy a kind's file, to change it."""
    from debriscount.campaign.places import DEBRIS, around
    from debriscount.inputs.debris_names import debris_slug, find_debris
    from debriscount.inputs.save import save_files
    from debriscount.inputs.text_file import file_content

    source = find_debris(name)
    home = around()
    to = out or (Path() if home is None else home / DEBRIS) / f"{debris_slug(source.stem)}.toml"
    save_files({to: file_content(source, "debris file")}, overwrite=overwrite)
    said_aside(f"wrote {to}")
