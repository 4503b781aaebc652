"""``debriscount summary``."""

from pathlib import Path
from typing import Annotated

import typer

from ._runs import Campaigns, FigureName, Json, Kind, Pass, Without, WithoutDoubtful, Zones, choice_of, keys_of, runs_of
from ._terminal import said_aside, terminal_width


def summary(
    *,
    campaign: Campaigns = None,
    by: Annotated[
        list[str] | None,
        typer.Option(
            metavar="KEY,…",
            help="What groups are by: machine, setting, setting.NAME, debris, batch, floor, patch, software, block,"
            " date, zone, kind, pass or campaign.",
        ),
    ] = None,
    figure: FigureName = "pickup",
    zone: Zones = None,
    kind: Kind = None,
    pass_number: Pass = None,
    without_doubtful: WithoutDoubtful = False,
    without: Without = None,
    csv: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Write every figure of every run as .csv or .json; - prints it.")
    ] = None,
    decimal_comma: Annotated[
        bool, typer.Option("--decimal-comma", help="In the .csv, commas in numbers and semicolons between them.")
    ] = False,
    picture: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Write a picture of the runs as .png or .svg.")
    ] = None,
    overwrite: Annotated[bool, typer.Option("--overwrite", help="Replace files that are there.")] = False,
    json: Json = False,
) -> None:
    """Means of groups of runs, how far they are known, and runs that stand apart."""
    from debriscount.compare.summary import summarise
    from debriscount.report.runs_summary import summary_json, summary_text

    runs = runs_of(campaign)
    choice = choice_of(figure, zone, kind, pass_number, without_doubtful, without)
    if csv is not None and str(csv) == "-":
        from debriscount.report.runs_table import runs_csv

        typer.echo(runs_csv(runs, decimal_comma=decimal_comma), nl=False)
        return
    result = summarise(runs, keys_of(by), choice)
    if json:
        from json import dumps

        typer.echo(dumps(summary_json(result, choice), indent=1, allow_nan=False))
    else:
        typer.echo(summary_text(result, choice, terminal_width()), nl=False)
    if csv is not None:
        from debriscount.report.runs_table import write_table

        write_table(runs, csv, decimal_comma=decimal_comma, overwrite=overwrite)
        said_aside(f"wrote {csv}")
    if picture is not None:
        from debriscount.report.runs_plot import write_plot

        write_plot(result, choice, picture, overwrite=overwrite)
        said_aside(f"wrote {picture}")
