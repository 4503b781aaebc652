"""``debriscount demo``."""

from pathlib import Path
from typing import Annotated

import typer

from ._terminal import progress_bar, said_aside, terminal_width


def demo(
    directory: Annotated[
        Path, typer.Argument(metavar="[DIR]", help="New or empty folder for pictures and results.")
    ] = Path("debriscount-demo"),
    every: Annotated[bool, typer.Option("--all", help="Measure all shipped runs, not only the first.")] = False,
) -> None:
    """Measure shipped photos whose true result is known."""
    from debriscount.demo import SCENES, campaign_text, copy_campaign, copy_scenes, demo_page, demo_text, run_scene

    results = []
    for folder in copy_scenes(directory, SCENES if every else SCENES[:1]):
        with progress_bar(wanted=True) as progress:
            run = run_scene(folder, progress)
        for warning in run.warnings:
            said_aside(f"Warning: {warning}")
        typer.echo(demo_text(run) + "\n")
        results.append(folder / "result")
    campaign = copy_campaign(directory)
    typer.echo(campaign_text(campaign, terminal_width()))
    typer.echo(f"\nAll of it on one page, to open in a browser:\n  {demo_page(directory, campaign, results)}")
