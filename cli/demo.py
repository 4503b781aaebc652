"""``debriscount demo``."""

from pathlib import Path
from typing import Annotated

import typer

from ._terminal import progress_bar, said_aside


def demo(
    directory: Annotated[
        Path, typer.Argument(metavar="[DIR]", help="New or empty folder for pictures and results.")
    ] = Path("debriscount-demo"),
    every: Annotated[bool, typer.Option("--all", help="Measure all shipped runs, not only the first.")] = False,
    campaign: Annotated[
        bool, typer.Option("--campaign", help="Instead, write a small campaign of runs drawn at random.")
    ] = False,
) -> None:
    """Measure shipped photos whose true result is known."""
    if campaign:
        from debriscount.demo_campaign import write_demo_campaign

        home = write_demo_campaign(directory / "two-brushes")
        said_aside(f"made {home}, sixteen runs drawn at random to try commands on, such as")
        typer.echo(f"debriscount run list --campaign {home}")
        return
    from debriscount.demo import SCENES, copy_scenes, demo_text, run_scene

    for folder in copy_scenes(directory, SCENES if every else SCENES[:1]):
        with progress_bar(wanted=True) as progress:
            run = run_scene(folder, progress)
        for warning in run.warnings:
            said_aside(f"Warning: {warning}")
        typer.echo(demo_text(run) + "\n")
