"""``debriscount plan``."""

from pathlib import Path
from typing import Annotated

import typer

from ._runs import Campaigns, FigureName, Json, choice_of, runs_of
from ._terminal import progress_bar, said_aside, terminal_width


def plan(
    *,
    campaign: Campaigns = None,
    factor: Annotated[
        str, typer.Option(metavar="KEY", help="What is to be compared: machine, floor, setting.NAME, ….")
    ] = "machine",
    level: Annotated[
        list[str] | None,
        typer.Option(metavar="NAME", help="Level to compare; once for each. The campaign's if not given."),
    ] = None,
    machine: Annotated[
        str | None, typer.Option(metavar="NAME", help="Machine that runs, where settings or floors are compared.")
    ] = None,
    tell: Annotated[float, typer.Option(metavar="POINTS", help="Difference that you want to tell.")] = 3.0,
    sd: Annotated[
        float | None, typer.Option(metavar="POINTS", help="How runs scatter, if not as earlier runs of the campaign.")
    ] = None,
    runs: Annotated[int | None, typer.Option("--runs", metavar="N", help="Runs of each level.")] = None,
    order: Annotated[
        str, typer.Option(help="Blocks in random order, mirrored (A B B A), or none: level after level.")
    ] = "random",
    seed: Annotated[int, typer.Option(help="The same seed draws the same order.")] = 0,
    load: Annotated[
        float | None, typer.Option(metavar="G/M2", help="Wanted load; what covers 4 % of the patch if not given.")
    ] = None,
    most_cover: Annotated[
        float, typer.Option("--most-cover", metavar="PERCENT", help="Cover above which grains count as crowded.")
    ] = 10.0,
    figure: FigureName = "pickup",
    simulate: Annotated[
        int, typer.Option(metavar="N", help="Make and measure N made-up runs, to say how exact a run will be.")
    ] = 0,
    floor_kind: Annotated[
        str, typer.Option(help="Floor of the made-up runs: plain, planks, tile, terrazzo or carpet.")
    ] = "planks",
    sheet: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Write a sheet with boxes to tick: .pdf, .svg or .png.")
    ] = None,
    paper: Annotated[str, typer.Option(help="Paper of the sheet: a4 or letter.")] = "a4",
    keep: Annotated[
        bool, typer.Option("--keep", help="Put the runs into the campaign's file, for run add to take in their order.")
    ] = False,
    overwrite: Annotated[bool, typer.Option("--overwrite", help="Replace a sheet that is there.")] = False,
    json: Json = False,
) -> None:
    """Plan a comparison: portion, number of runs, their order, and a sheet to work through."""
    from debriscount.campaign.campaign_file import read_campaign
    from debriscount.campaign.places import find_campaign
    from debriscount.plan.of_campaign import campaign_debris, levels_of, planned_runs, portions_of
    from debriscount.plan.runs import GUESSED_SD, Repeatability, earlier_repeatability, plan_runs
    from debriscount.report.plan import plan_json, plan_text

    home = find_campaign(campaign[0] if campaign else None)
    about = read_campaign(home)
    earlier = runs_of(campaign or [home])
    known = Repeatability(sd, None) if sd is not None else None
    if known is None:
        choice = choice_of(figure, None, None, None, without_doubtful=False, without=None)
        known = earlier_repeatability(earlier, choice) or Repeatability(GUESSED_SD, None)
    levels = level or levels_of(about, factor, earlier)
    made = plan_runs(factor, levels, known, tell, each=runs, order=order, seed=seed)  # type: ignore[arg-type]
    patch, kinds = campaign_debris(home, about)
    portions, unknown = portions_of(patch, kinds, load, most_cover)
    expected = None
    if simulate:
        from debriscount.opencv import require_opencv

        require_opencv()
        from debriscount.plan.of_campaign import expected_of

        with progress_bar(wanted=True) as progress:
            expected = expected_of(patch, kinds, portions, floor_kind, simulate, progress)
    if json:
        from json import dumps

        typer.echo(dumps(plan_json(made, portions, expected), indent=1, allow_nan=False))
    else:
        typer.echo(plan_text(made, portions, unknown, expected, terminal_width()), nl=False)
    if keep:
        from debriscount.campaign.campaign_write import plan_runs as keep_runs

        keep_runs(home, planned_runs(made, about, machine))
        said_aside(f"put {len(made.tests)} runs into {home / 'campaign.toml'}")
    if sheet is not None:
        from debriscount.plan.sheet import write_run_sheet
        from debriscount.safety import SAND_MM

        fine = any(kind.size_mm[1] < SAND_MM for kind in kinds)
        written = write_run_sheet(made, portions, about.campaign.name, sheet, paper, fine=fine, overwrite=overwrite)
        said_aside(f"wrote {', '.join(map(str, written))}")
