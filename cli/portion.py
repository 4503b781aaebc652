"""``debriscount portion``."""

from pathlib import Path
from typing import Annotated

import typer

from ._debris import debris_paths
from ._options import Blank, Json, LensFile, OverwriteFile, PatchFile, Quiet
from ._terminal import print_record, progress_bar, said_aside, terminal_width


def portion(
    portions: Annotated[
        list[str],
        typer.Argument(
            metavar="PHOTO=GRAMS",
            help='A weighed portion, such as "a.jpg=20.1" or "a.jpg=20.1±0.1"; further photos of it after commas.',
        ),
    ],
    *,
    patch: PatchFile,
    debris: Annotated[
        Path, typer.Option(metavar="NAME", help="Kind of debris, by name or file: its colour and sizes.")
    ],
    blank: Blank = None,
    lens: LensFile = None,
    thousand: Annotated[
        str | None,
        typer.Option("--thousand-grain-mass-g", metavar="G", help='Mass of a thousand grains, such as "16.7±0.2".'),
    ] = None,
    at_g: Annotated[
        float | None,
        typer.Option(
            metavar="G", help="Mass for which to state the interval; that of the middle portion if not given."
        ),
    ] = None,
    remark: Annotated[
        str, typer.Option(metavar="TEXT", help="Where debris and photos come from; it goes into the file.")
    ] = "",
    out: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Debris file to write, such as calibration/debris/NAME.toml.")
    ] = None,
    overwrite: OverwriteFile = False,
    json: Json = False,
    quiet: Quiet = False,
) -> None:
    """Learn from weighed portions what debris weighs.

    The mass per area and per grain goes into a debris file. Never sweep sand or other fine mineral dust dry.
    """
    from debriscount.opencv import require_opencv

    require_opencv()
    from debriscount.inputs.save import refuse_existing
    from debriscount.portions.arguments import parse_grams
    from debriscount.portions.calibrate import calibrate, write_calibration
    from debriscount.report.portion import calibration_json, calibration_text
    from debriscount.safety import MINERAL_DUST, SAND_MM

    if out is not None and not overwrite:
        refuse_existing([out])
    (kind,) = debris_paths([debris])
    weighed = None if thousand is None else parse_grams(thousand, "--thousand-grain-mass-g")
    with progress_bar(not quiet) as progress:
        found = calibrate(
            patch, kind, portions,
            blank=blank, lens=lens, thousand_g=weighed, at_g=at_g, remark=remark, progress=progress,
        )  # fmt: skip
    if out is not None:
        write_calibration(found, out, overwrite=overwrite)
    if json or quiet:  # the text has the warnings already
        for warning in found.warnings:
            said_aside(f"Warning: {warning}")
    if json:
        print_record(calibration_json(found))
    elif not quiet:
        typer.echo(calibration_text(found, terminal_width()), nl=False)
        if found.kind.size_mm[1] < SAND_MM:
            said_aside(MINERAL_DUST)
        if out is not None:
            said_aside(f"wrote {out}")
