"""``debriscount measure``."""

from pathlib import Path
from typing import Annotated

import typer

from debriscount.photo.limits import MOST_MEGAPIXELS

from ._debris import debris_paths
from ._options import Blank, Debris, Json, LensFile, MostMegapixels, OverwriteResult, PatchFile, Quiet
from ._terminal import print_record, progress_bar, said_aside, said_written, terminal_width
from ._timings import StageTimes

NOT_SOUND = 3


def measure(
    before: Annotated[Path, typer.Argument(metavar="BEFORE", help="Photo of the scattered debris.")],
    after: Annotated[list[Path], typer.Argument(metavar="AFTER", help="Photo after each pass, in order.")],
    *,
    patch: PatchFile,
    out: Annotated[Path, typer.Option(metavar="DIR", help="Folder for record, tables and pictures.")],
    blank: Blank = None,
    debris: Debris = None,
    lens: LensFile = None,
    weighing: Annotated[Path | None, typer.Option(metavar="FILE", help="Weighing file: what the scale said.")] = None,
    most_megapixels: MostMegapixels = MOST_MEGAPIXELS,
    overwrite: OverwriteResult = False,
    json: Json = False,
    allow_growth: Annotated[
        bool, typer.Option("--allow-growth", help="Measure even if there is more debris after than before.")
    ] = False,
    strict: Annotated[
        bool, typer.Option("--strict", help="Exit with 3 if the pickup of the patch is not sound; results are written.")
    ] = False,
    quiet: Quiet = False,
    timings: Annotated[
        bool, typer.Option("--timings", help="Print the seconds that each stage took, and the most memory.")
    ] = False,
) -> None:
    """Measure one run: how much was picked up, and where.

    Figures are given by zone, kind of debris and pass, with whether to trust them and why the rest stayed.
    """
    times = StageTimes() if timings else None
    from debriscount.opencv import require_opencv

    require_opencv()
    import debriscount
    from debriscount.at_once import load_ahead
    from debriscount.flags import said_once
    from debriscount.report.folder import prepare_folder
    from debriscount.report.record import measurement_json
    from debriscount.report.tables import table_text
    from debriscount.report.verdict import is_sound
    from debriscount.report.write import MARKS, load_plots, write_measurement

    prepare_folder(out, MARKS, [*filter(None, [blank]), before, *after], overwrite=overwrite)
    load_ahead(lambda: load_plots(patch, len(after)))
    with progress_bar(not quiet) as progress:
        measurement = debriscount.measure(
            patch,
            before,
            after,
            blank=blank,
            debris=debris_paths(debris),
            lens=lens,
            weighing=weighing,
            allow_growth=allow_growth,
            most_megapixels=most_megapixels,
            progress=progress if times is None else times.showing(progress),
        )
    written = write_measurement(measurement, out, overwrite=overwrite)
    if json or quiet:  # the table has the warnings already
        for severity, sentence in said_once(measurement.flags):
            said_aside(f"{'Note' if severity == 'note' else 'Warning'}: {sentence}")
    if json:
        print_record(measurement_json(measurement))
    elif not quiet:
        typer.echo(table_text(measurement, terminal_width()), nl=False)
        said_written(out, written)
    if times is not None:
        said_aside("\n".join(times.lines()))
    if strict and not is_sound(measurement):
        raise typer.Exit(NOT_SOUND)
