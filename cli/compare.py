"""``debriscount compare``."""

from typing import Annotated

import typer

from ._runs import Campaigns, FigureName, Json, Kind, Pass, Without, WithoutDoubtful, Zones, choice_of, keys_of, runs_of
from ._terminal import terminal_width


def compare(
    *,
    campaign: Campaigns = None,
    factor: Annotated[
        str,
        typer.Option(
            metavar="KEY", help="What is compared: machine, setting.NAME, floor, debris, software, zone, campaign, …"
        ),
    ],
    within: Annotated[
        list[str] | None, typer.Option(metavar="KEY,…", help="Compare within each level of these, such as machine.")
    ] = None,
    figure: FigureName = "pickup",
    zone: Zones = None,
    kind: Kind = None,
    pass_number: Pass = None,
    without_doubtful: WithoutDoubtful = False,
    without: Without = None,
    block: Annotated[
        str, typer.Option(metavar="KEY", help="By what runs belong together, such as block or date.")
    ] = "block",
    unpaired: Annotated[bool, typer.Option("--unpaired", help="Do not compare within blocks.")] = False,
    tell: Annotated[
        float, typer.Option(metavar="DIFFERENCE", help="Difference that you want to tell, in points or the unit.")
    ] = 3.0,
    power: Annotated[float, typer.Option(help="How often you want to tell it.")] = 0.8,
    json: Json = False,
) -> None:
    """Say which machines, settings, floors or kinds of debris differ, and by how much."""
    from debriscount.compare.compare import compare as compare_runs
    from debriscount.report.runs_comparison import comparison_json, comparison_text

    runs = runs_of(campaign)
    choice = choice_of(figure, zone, kind, pass_number, without_doubtful, without)
    result = compare_runs(
        runs,
        factor,
        keys_of(within),
        choice,
        block=None if unpaired else block,
        wanted=tell,
        power=power,
    )
    if json:
        from json import dumps

        typer.echo(dumps(comparison_json(result, choice), indent=1, allow_nan=False))
    else:
        typer.echo(comparison_text(result, choice, terminal_width()), nl=False)
