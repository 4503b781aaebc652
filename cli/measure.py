"""``debriscount measure``."""

from collections.abc import Sequence
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
    before: Annotated[
        Path | None, typer.Argument(metavar="BEFORE", help="Photo of the scattered debris, or a folder of them.")
    ] = None,
    after: Annotated[
        list[Path] | None,
        typer.Argument(metavar="AFTER", help="Photo after each pass, in order, or a folder for each."),
    ] = None,
    *,
    patch: PatchFile,
    out: Annotated[Path, typer.Option(metavar="DIR", help="Folder for record, tables and pictures.")],
    before_photos: Annotated[
        list[Path] | None,
        typer.Option(
            "--before", metavar="PHOTO", help="Instead of BEFORE: one of its photos that overlap; once for each."
        ),
    ] = None,
    after_photos: Annotated[
        list[Path] | None,
        typer.Option(
            "--after",
            metavar="PHOTO",
            help="Instead of AFTER: one of the photos after the only pass that overlap; once for each.",
        ),
    ] = None,
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

    A shot may be several photos that overlap, as of a room: a folder of them, or --before and --after for each photo.

    Figures are given by zone, kind of debris and pass, with whether to trust them and why the rest stayed.
    """
    times = StageTimes() if timings else None
    from debriscount.opencv import require_opencv

    require_opencv()
    import debriscount
    from debriscount.at_once import load_ahead
    from debriscount.flags import remarks
    from debriscount.report.folder import prepare_folder
    from debriscount.report.record import measurement_json
    from debriscount.report.tables import table_text
    from debriscount.report.verdict import is_sound
    from debriscount.report.write import MARKS, load_plots, write_measurement
    from debriscount.run.sources import photos_of

    first, afters = _shots(before, after, before_photos, after_photos)
    given = [Path(str(p)) for shot in (*filter(None, [blank]), first, *afters) for p in photos_of(shot)]
    prepare_folder(out, MARKS, given, overwrite=overwrite)
    load_ahead(lambda: load_plots(patch, len(afters)))
    with progress_bar(not quiet) as progress:
        measurement = debriscount.measure(
            patch,
            first,
            afters,
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
        for remark in remarks(measurement.flags):
            said_aside(remark)
    if json:
        print_record(measurement_json(measurement))
    elif not quiet:
        typer.echo(table_text(measurement, terminal_width()), nl=False)
        said_written(out, written)
    if times is not None:
        said_aside("\n".join(times.lines()))
    if strict and not is_sound(measurement):
        raise typer.Exit(NOT_SOUND)


def _shots(
    before: Path | None,
    after: list[Path] | None,
    before_photos: list[Path] | None,
    after_photos: list[Path] | None,
) -> tuple[Path | list[Path], Sequence[Path | list[Path]]]:
    """What was given as before, and after each pass."""
    arguments, options = bool(before or after), bool(before_photos or after_photos)
    if options and not arguments and before_photos and after_photos:
        return before_photos, [after_photos]
    if before is not None and after and not options:
        return before, after
    raise typer.BadParameter(
        "give the photos as BEFORE AFTER… or, where several make a shot, all of them with --before and --after."
    )
