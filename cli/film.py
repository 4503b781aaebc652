"""``debriscount film``."""

from pathlib import Path
from typing import Annotated

import typer

from ._debris import debris_paths
from ._options import Blank, Debris, Json, LensFile, OverwriteResult, PatchFile, Quiet
from ._terminal import print_record, progress_bar, said_aside, said_written, terminal_width


def film(
    film: Annotated[
        Path, typer.Argument(metavar="FILM", help="Film of the machine at work, with the markers in view.")
    ],
    *,
    patch: PatchFile,
    out: Annotated[Path, typer.Option(metavar="DIR", help="Folder for record, tables and pictures.")],
    blank: Blank = None,
    debris: Debris = None,
    lens: LensFile = None,
    every: Annotated[str, typer.Option(metavar="TIME", help='Time from sample to sample, such as "2s".')] = "2s",
    machine_height: Annotated[float, typer.Option(metavar="MM", help="Height of the machine.")] = 90.0,
    clip: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Also a clip with the curve running beside the picture, such as curve.mp4."),
    ] = None,
    at_once: Annotated[
        int | None,
        typer.Option(min=1, max=256, metavar="N", help="Stretches looked at at once; all cores if not given."),
    ] = None,
    scheduler: Annotated[
        str | None, typer.Option(metavar="ADDRESS", help="Scheduler of a Dask cluster that reaches the same film.")
    ] = None,
    overwrite: OverwriteResult = False,
    json: Json = False,
    quiet: Quiet = False,
) -> None:
    """Follow what is left of the debris, and the machine's way, through a film.

    What the machine, a hand or a shadow hides is bridged from before and after.
    """
    from debriscount.opencv import require_opencv

    require_opencv()
    from debriscount.film.measure import measure_film, seconds_of
    from debriscount.flags import remarks
    from debriscount.inputs.save import refuse_existing, save_files
    from debriscount.report.film import MARKS, film_json, film_text, write_film_result
    from debriscount.report.folder import prepare_folder
    from debriscount.safety import FILMING
    from debriscount.stills.clip import check_ending

    step = seconds_of(every)
    prepare_folder(out, MARKS, [*filter(None, [blank]), film], overwrite=overwrite)
    if clip is not None:
        check_ending(clip)
        refuse_existing([] if overwrite else [clip])
    with progress_bar(not quiet) as progress:
        measured = measure_film(
            film,
            patch=patch,
            blank=blank,
            debris=debris_paths(debris),
            lens=lens,
            every_s=step,
            machine_height_mm=machine_height,
            at_once=at_once,
            scheduler=scheduler,
            progress=progress,
        )
        written = write_film_result(measured, out, overwrite=overwrite)
        if clip is not None:
            from debriscount.stills.film_clip import film_clip

            save_files({clip: film_clip(measured, clip, progress)}, overwrite=overwrite)
    if json or quiet:  # the text has the warnings already
        for remark in remarks(measured.flags):
            said_aside(remark)
    if json:
        print_record(film_json(measured))
    elif not quiet:
        typer.echo(film_text(measured, terminal_width()), nl=False)
        said_aside(f"For the next film: {FILMING}")
        said_written(out, written)
        if clip is not None:
            said_aside(f"wrote {clip}")
