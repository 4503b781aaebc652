"""``debriscount count``."""

from pathlib import Path
from typing import Annotated

import typer

from debriscount.photo.limits import MOST_MEGAPIXELS

from ._debris import debris_paths
from ._options import Blank, Debris, Json, LensFile, MostMegapixels, OverwriteResult, Quiet
from ._terminal import print_record, progress_bar, said_aside, said_written, share_of, terminal_width


def count(
    photos: Annotated[
        list[Path],
        typer.Argument(metavar="PHOTO", help="Photos to look at, each by itself; a folder of them for a shot."),
    ],
    *,
    patch: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Patch file, for photos that show its markers.")
    ] = None,
    mm_per_px: Annotated[
        float | None, typer.Option(metavar="S", help="Scale of photos without markers, mm per pixel.")
    ] = None,
    region: Annotated[
        str | None,
        typer.Option(
            metavar="X,Y,W,H", help="Part of such a photo: left, top, width, height, in pixels of the upright photo."
        ),
    ] = None,
    blank: Blank = None,
    debris: Debris = None,
    lens: LensFile = None,
    out: Annotated[Path | None, typer.Option(metavar="DIR", help="Folder for record, tables and pictures.")] = None,
    most_megapixels: MostMegapixels = MOST_MEGAPIXELS,
    overwrite: OverwriteResult = False,
    json: Json = False,
    quiet: Quiet = False,
) -> None:
    """Count and measure debris in single photos.

    For leftovers alone, weighed portions, and pictures without markers.
    """
    from debriscount.opencv import require_opencv

    require_opencv()
    import debriscount
    from debriscount.report.count import MARKS, count_json, count_text, write_counts
    from debriscount.report.folder import prepare_folder
    from debriscount.run.region import parse_region
    from debriscount.run.sources import photos_of

    if out is not None:
        given = [Path(str(part)) for shot in (*filter(None, [blank]), *photos) for part in photos_of(shot)]
        prepare_folder(out, MARKS, given, overwrite=overwrite)
    part = None if region is None else parse_region(region)
    counts = []
    with progress_bar(not quiet) as progress:
        for number, photo in enumerate(photos):
            counts.append(
                debriscount.count(
                    photo,
                    patch=patch,
                    mm_per_px=mm_per_px,
                    region=part,
                    blank=blank,
                    debris=debris_paths(debris),
                    lens=lens,
                    most_megapixels=most_megapixels,
                    progress=share_of(progress, number, len(photos)),
                )
            )
    written = [] if out is None else write_counts(counts, out, overwrite=overwrite)
    if json or quiet:  # the table has the warnings already
        for counted in counts:
            for warning in counted.warnings:
                said_aside(f"Warning: {counted.file}: {warning}")
    if json:
        print_record(count_json(counts))
    elif not quiet:
        typer.echo(count_text(counts, terminal_width()), nl=False)
        said_written(out, written)
