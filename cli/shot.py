"""``debriscount shot``."""

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from debriscount.photo.limits import MOST_MEGAPIXELS

from ._debris import debris_paths
from ._options import Debris, Json, LensFile, MostMegapixels, PatchFile
from ._terminal import in_colour, print_record, said_aside, terminal_width

if TYPE_CHECKING:
    from debriscount.shot_check.files import ShotCheck
    from debriscount.shot_check.records import Fitness

NOT_FIT = 3


def shot(
    photos: Annotated[
        list[Path] | None,
        typer.Argument(metavar="PHOTO", help="Photos to check, each by itself; a folder of them for a shot."),
    ] = None,
    *,
    patch: PatchFile,
    debris: Debris = None,
    against: Annotated[
        Path | None,
        typer.Option(metavar="PHOTO", help="Another shot of the same run, to compare with, or a folder of it."),
    ] = None,
    want: Annotated[
        float, typer.Option(metavar="POINTS", help="Accuracy you want, in percentage points of pickup.")
    ] = 1.0,
    watch: Annotated[
        Path | None, typer.Option(metavar="DIR", help="Check every photo that arrives in this folder; Ctrl-C ends it.")
    ] = None,
    lens: LensFile = None,
    most_megapixels: MostMegapixels = MOST_MEGAPIXELS,
    details: Annotated[
        bool, typer.Option("--details", help="Print everything that was checked, with its limits.")
    ] = False,
    json: Json = False,
) -> None:
    """Check whether photos will do, while they can be retaken.

    Says FIT or NOT FIT, and what to do. Exits with 3 if a photo is not fit.
    """
    from debriscount.opencv import require_opencv

    require_opencv()
    from debriscount.errors import ShotOptionsError
    from debriscount.run.lying import looked_over
    from debriscount.shot_check.files import shot_check

    if not photos and watch is None:
        raise ShotOptionsError("nothing to check. Give photos, or --watch with a folder.")
    check = shot_check(
        patch, debris_paths(debris), against=against, want_percent=want, lens=lens, most_megapixels=most_megapixels
    )
    fit = True
    if json and photos:
        fit = _print_json([looked_over(check, photo)[0] for photo in photos])
    else:
        for number, photo in enumerate(photos or ()):
            typer.echo("\n" * (number > 0), nl=False)
            fit &= _print(check, photo, details=details)
    if watch is not None:
        _watch(check, watch, json=json, details=details)
    elif not fit:
        raise typer.Exit(NOT_FIT)


def _print_json(checked: "Sequence[Fitness]") -> bool:
    from debriscount.report.shot import shot_json

    print_record(shot_json(checked))
    return all(one.fit for one in checked)


def _print(check: "ShotCheck", photo: Path, *, details: bool, verdict_last: bool = False) -> bool:
    """Check a photo, print what it comes to, and return whether it is fit."""
    from debriscount.report.shot import details_text, shot_text, verdict_word
    from debriscount.run.lying import looked_over

    one, lying = looked_over(check, photo)
    if details:
        typer.echo(details_text(one, terminal_width()))
    text = shot_text(one, lying, terminal_width(), verdict_last=verdict_last)
    if in_colour():
        word = verdict_word(one)
        text = text.replace(f"{word}: ", typer.style(word, fg="green" if one.fit else "red", bold=True) + ": ", 1)
    typer.echo(text, nl=False)
    return one.fit


def _watch(check: "ShotCheck", folder: Path, *, json: bool, details: bool) -> None:
    from debriscount.errors import PhotoFileError
    from debriscount.run.lying import looked_over
    from debriscount.shot_check.watch import arriving_photos

    arriving = arriving_photos(folder)
    said_aside(f"watching {folder}; Ctrl-C ends it")
    while True:
        try:
            photo = next(arriving)
            if json:
                _print_json([looked_over(check, photo)[0]])
            else:
                _print(check, photo, details=details, verdict_last=True)
        except PhotoFileError as error:
            if not folder.is_dir():
                raise
            said_aside(str(error))  # the next photo may be whole
        except KeyboardInterrupt:
            return
