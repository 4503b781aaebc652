"""``debriscount shot``."""

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from debriscount.photo.limits import MOST_MEGAPIXELS

if TYPE_CHECKING:
    from debriscount.fitness.files import ShotCheck
    from debriscount.fitness.records import Fitness

NOT_FIT = 3


def shot(
    photos: Annotated[
        list[Path] | None, typer.Argument(metavar="PHOTO", help="Photos to check, each by itself.")
    ] = None,
    *,
    patch: Annotated[Path, typer.Option(metavar="FILE", help="patch.toml: size, walls, markers, zones.")],
    debris: Annotated[list[Path] | None, typer.Option(metavar="FILE", help="debris.toml; once for each kind.")] = None,
    against: Annotated[
        Path | None, typer.Option(metavar="PHOTO", help="Another shot of the same run to hold the photos against.")
    ] = None,
    want: Annotated[float, typer.Option(metavar="POINTS", help="Accuracy wanted, percentage points of pickup.")] = 1.0,
    watch: Annotated[
        Path | None, typer.Option(metavar="DIR", help="Check every photo that arrives in this folder, until Ctrl-C.")
    ] = None,
    lens: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Lens of the camera, as `debriscount lens` writes it.")
    ] = None,
    most_megapixels: Annotated[float, typer.Option(metavar="N", help="Refuse larger photo files.")] = MOST_MEGAPIXELS,
    json: Annotated[bool, typer.Option("--json", help="Print the record as JSON, not the table.")] = False,
) -> None:
    """Say whether photos will do, before it is too late to retake them, and what to do if not."""
    from debriscount.opencv import require_opencv

    require_opencv()
    from debriscount.errors import ShotOptionsError
    from debriscount.fitness.files import shot_check

    if not photos and watch is None:
        raise ShotOptionsError("nothing to check. Give photos, or --watch with a folder.")
    check = shot_check(
        patch, debris or (), against=against, want_percent=want, lens=lens, most_megapixels=most_megapixels
    )
    checked = [check.check(photo) for photo in photos or ()]
    if checked:
        _print(checked, json=json)
    if watch is not None:
        _watch(check, watch, json=json)
    elif not all(one.fit for one in checked):
        raise typer.Exit(NOT_FIT)


def _print(checked: "Sequence[Fitness]", *, json: bool) -> None:
    from debriscount.report.shot import shot_json, shot_text

    if json:
        from json import dumps

        typer.echo(dumps(shot_json(checked), indent=1, allow_nan=False))
    else:
        typer.echo("\n".join(shot_text(one) for one in checked), nl=False)


def _watch(check: "ShotCheck", folder: Path, *, json: bool) -> None:
    from debriscount.errors import PhotoFileError
    from debriscount.fitness.watch import arriving_photos

    arriving = arriving_photos(folder)
    typer.echo(f"watching {folder}; Ctrl-C ends it", err=True)
    while True:
        try:
            photo = next(arriving)
            _print([check.check(photo)], json=json)
        except PhotoFileError as error:
            if not folder.is_dir():
                raise
            typer.echo(str(error), err=True)  # the next photo may be whole
        except KeyboardInterrupt:
            return
