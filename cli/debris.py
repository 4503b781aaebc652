"""``debriscount debris``."""

from pathlib import Path
from typing import Annotated

import typer

from ._group import ErrorsToExitCodes
from ._interview import Interview
from ._options import OverwriteFile, Yes
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
    overwrite: OverwriteFile = False,
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


@debris.command()
def new(
    photo: Annotated[Path, typer.Argument(metavar="PHOTO", help="A pinch of grains on paper, with a printed square.")],
    *,
    name: Annotated[str | None, typer.Option(help="Name of the kind.")] = None,
    side: Annotated[str | None, typer.Option("--marker-side", metavar="MM", help="Side of the black square.")] = None,
    single: Annotated[
        str | None,
        typer.Option(metavar="NUMBERS", help='Outlines that are single grains, such as "1-12, 15"; or likely.'),
    ] = None,
    out: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="File to write; in the campaign's folder of debris, or here, if not given."),
    ] = None,
    picture: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Picture of the outlines; beside the photo if not given.")
    ] = None,
    yes: Yes = False,
    overwrite: OverwriteFile = False,
) -> None:
    """Learn what a new kind looks like: colour and sizes, and what of them is unsure.

    Strew a pinch on plain paper beside a printed square, so that grains do not touch, and photograph it from above. A
    picture with numbered outlines is written first; then it asks which of them are single grains.
    """
    from debriscount.opencv import require_opencv

    require_opencv()
    from debriscount.campaign.places import DEBRIS, around
    from debriscount.errors import PortionError
    from debriscount.inputs.debris_names import debris_slug
    from debriscount.inputs.debris_write import debris_toml
    from debriscount.inputs.save import refuse_existing, save_files
    from debriscount.photo.read import read_photo
    from debriscount.portions.pinch import find_pinch, pinch_kind
    from debriscount.report.folder import picture_bytes
    from debriscount.report.pinch import draw_pinch

    from ._pinch_answers import read_mm, read_numbers

    interview = Interview(PortionError, silent=yes)
    drawn = picture or photo.with_name(f"{photo.stem}-outlines.jpg")
    if not overwrite:
        refuse_existing([drawn, *([] if out is None else [out])])
    side_mm = interview.ask("Side of the black square, mm", "50", read_mm) if side is None else read_mm(side)
    found = find_pinch(read_photo(photo), side_mm)
    save_files({drawn: picture_bytes(draw_pinch(found))}, overwrite=overwrite)
    likely = sum(grain.likely for grain in found.grains)
    said_aside(f"wrote {drawn}: {len(found.grains)} outlines, {likely} of them (blue) likely single grains")
    question = 'Which of them are single grains (such as "1-12, 15", "all but 3, 7", or likely)'
    numbers = (
        interview.ask(question, "likely", lambda text: read_numbers(text, found))
        if single is None
        else read_numbers(single, found)
    )
    called = interview.ask("Name of the kind", photo.stem, str.strip) if name is None else name.strip()
    learned = pinch_kind(found, numbers, called)
    home = around()
    to = out or (Path() if home is None else home / DEBRIS) / f"{debris_slug(called)}.toml"
    remark = "\n".join([f"learned from {photo.name}, a pinch of grains on paper", *learned.unsure])
    save_files({to: debris_toml(learned.kind, remark).encode()}, overwrite=overwrite)
    for sentence in learned.unsure:
        typer.echo(sentence)
    said_aside(f"wrote {to}")
