"""``debriscount measure``."""

from pathlib import Path
from typing import Annotated

import typer

from debriscount.photo.limits import MOST_MEGAPIXELS

from ._terminal import progress_bar, said_aside, terminal_width
from ._timings import StageTimes

NOT_SOUND = 3


def measure(
    before: Annotated[Path, typer.Argument(metavar="BEFORE", help="Photo of the scattered debris.")],
    after: Annotated[list[Path], typer.Argument(metavar="AFTER", help="Photo after each pass, in order.")],
    *,
    patch: Annotated[Path, typer.Option(metavar="FILE", help="Patch file: size, walls, markers, zones.")],
    out: Annotated[Path, typer.Option(metavar="DIR", help="Folder for record, tables and pictures.")],
    blank: Annotated[Path | None, typer.Option(metavar="PHOTO", help="Photo of the clean floor.")] = None,
    debris: Annotated[
        list[Path] | None, typer.Option(metavar="FILE", help="Debris file; once for each kind of debris.")
    ] = None,
    lens: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Lens file of the camera, from debriscount lens.")
    ] = None,
    weighing: Annotated[Path | None, typer.Option(metavar="FILE", help="Weighing file: what the scale said.")] = None,
    most_megapixels: Annotated[
        float, typer.Option(metavar="N", help="Refuse larger photos before decoding them.")
    ] = MOST_MEGAPIXELS,
    overwrite: Annotated[bool, typer.Option("--overwrite", help="Replace a result of other photos in DIR.")] = False,
    json: Annotated[bool, typer.Option("--json", help="Print the record as JSON instead of the table.")] = False,
    allow_growth: Annotated[
        bool, typer.Option("--allow-growth", help="Measure even if there is more debris after than before.")
    ] = False,
    strict: Annotated[
        bool, typer.Option("--strict", help="Exit with 3 if the pickup of the patch is not sound; results are written.")
    ] = False,
    quiet: Annotated[bool, typer.Option("--quiet", help="Print no table and no progress.")] = False,
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
    from debriscount.inputs.patch_file import read_patch
    from debriscount.report import measurement_json, table_text, write_measurement
    from debriscount.report.folder import refuse_other_photos, settle_folder
    from debriscount.report.verdict import is_sound
    from debriscount.report.write import load_plots

    settle_folder(out)
    if not overwrite:
        refuse_other_photos(out, [*filter(None, [blank]), before, *after])
    layout = read_patch(patch)
    if layout.walls or len(after) > 1:  # what will be drawn takes long to load
        load_ahead(load_plots)
    with progress_bar(not quiet) as progress:
        measurement = debriscount.measure(
            layout,
            before,
            after,
            blank=blank,
            debris=debris or (),
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
        from json import dumps

        typer.echo(dumps(measurement_json(measurement), indent=1, allow_nan=False))
    elif not quiet:
        typer.echo(table_text(measurement, terminal_width()), nl=False)
        said_aside(f"wrote {out}: {', '.join(path.name for path in written)}")
    if times is not None:
        said_aside("\n".join(times.lines()))
    if strict and not is_sound(measurement):
        raise typer.Exit(NOT_SOUND)
