"""``debriscount agreement``."""

from pathlib import Path
from typing import Annotated

import typer

from ._options import Json
from ._runs import runs_of
from ._terminal import print_record, said_written, terminal_width


def agreement(
    runs: Annotated[
        list[Path] | None,
        typer.Argument(
            metavar="[RUN]...",
            help="Result folders of measured and weighed runs, oldest first; without them, a campaign's.",
        ),
    ] = None,
    *,
    campaign: Annotated[
        Path | None,
        typer.Option("--campaign", metavar="DIR", help="Campaign's folder. That around this folder if left out."),
    ] = None,
    out: Annotated[Path | None, typer.Option(metavar="DIR", help="Folder for record and plot.")] = None,
    json: Json = False,
) -> None:
    """Compare photo and scale over many runs.

    Says whether to recalibrate, and whether to go on weighing.
    """
    from debriscount.opencv import require_opencv

    require_opencv()
    from debriscount.errors import CompareError
    from debriscount.report.agreement import compare_campaign, compare_runs, runs_json, runs_text, write_agreement

    if runs and campaign is not None:
        raise CompareError("give either result folders or --campaign, not both.")
    many, not_weighed = (
        compare_runs(runs)
        if runs
        else compare_campaign([one.run for one in runs_of(None if campaign is None else [campaign])])
    )
    written = [] if out is None else write_agreement(many, out, not_weighed)
    if json:
        print_record(runs_json(many, not_weighed))
    else:
        typer.echo(runs_text(many, not_weighed, terminal_width()), nl=False)
    said_written(out, written)
