"""``debriscount verify``."""

from pathlib import Path
from typing import Annotated

import typer

from ._terminal import progress_bar, said_aside

DIFFERS = 3


def verify(
    result: Annotated[
        Path, typer.Argument(metavar="RUN|PAGE", help="Folder with a run's result, or a page of debriscount.")
    ],
    *,
    photos: Annotated[
        list[Path] | None, typer.Option(metavar="DIR", help="Folder with the photos; may be given several times.")
    ] = None,
    quiet: Annotated[bool, typer.Option("--quiet", help="Print no progress.")] = False,
) -> None:
    """Measure a result's photos again and compare: same, same within rounding, or what differs and why.

    Photos are found by their SHA-256, whatever they are called. Exit code 3 if a run differs or cannot be checked.
    """
    from debriscount.opencv import require_opencv

    require_opencv()
    from debriscount.printable import printable
    from debriscount.verify import verify

    with progress_bar(not quiet) as progress:
        checked = verify(result, photos or (), progress=progress)
    for run in checked:
        typer.echo(f"{printable(run.name, 80)}: {run.outcome}")
        for reason in run.reasons:
            said_aside(f"  {printable(reason, 300)}")
    if any(run.outcome not in ("same", "same within rounding") for run in checked):
        raise typer.Exit(DIFFERS)
