"""``debriscount agreement``."""

from pathlib import Path
from typing import Annotated

import typer

from ._options import Json
from ._terminal import print_record, said_written, terminal_width


def agreement(
    runs: Annotated[
        list[Path], typer.Argument(metavar="RUN", help="Result folders of measured and weighed runs, oldest first.")
    ],
    *,
    out: Annotated[Path | None, typer.Option(metavar="DIR", help="Folder for record and plot.")] = None,
    json: Json = False,
) -> None:
    """Compare photo and scale over many runs.

    Says whether to recalibrate, and whether to go on weighing.
    """
    from debriscount.opencv import require_opencv

    require_opencv()
    from debriscount.report.agreement import compare_runs, runs_json, runs_text, write_agreement

    many, not_weighed = compare_runs(runs)
    written = [] if out is None else write_agreement(many, out, not_weighed)
    if json:
        print_record(runs_json(many, not_weighed))
    else:
        typer.echo(runs_text(many, not_weighed, terminal_width()), nl=False)
    said_written(out, written)
