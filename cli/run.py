"""``debriscount run``."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from ._group import ErrorsToExitCodes
from ._options import Json, Quiet, Yes
from ._terminal import print_record, progress_bar, said_aside

if TYPE_CHECKING:
    from debriscount.campaign.records import Unread

run = typer.Typer(cls=ErrorsToExitCodes, help="Add runs to a campaign, and look at those it has.")

Home = Annotated[
    Path | None,
    typer.Option("--campaign", metavar="DIR", help="The campaign; that of the present folder if not given."),
]
Number = Annotated[int, typer.Argument(metavar="N", help="Number of the run.")]


@run.callback()
def _group() -> None:
    pass


@run.command()
def add(
    *,
    campaign: Home = None,
    machine: Annotated[str | None, typer.Option(metavar="NAME", help="Machine that ran.")] = None,
    setting: Annotated[
        list[str] | None, typer.Option(metavar="KEY=VALUE", help='Setting, such as "brush=rubber"; once for each.')
    ] = None,
    floor: Annotated[str | None, typer.Option(metavar="NAME", help="Floor.")] = None,
    debris: Annotated[
        list[str] | None, typer.Option(metavar="NAME", help="Kind of debris, by name or file; once for each.")
    ] = None,
    blank: Annotated[
        Path | None, typer.Option(metavar="PHOTO", help="Photo of the clean floor, or a folder of them.")
    ] = None,
    before: Annotated[
        Path | None, typer.Option(metavar="PHOTO", help="Photo of the scattered debris, or a folder of them.")
    ] = None,
    after: Annotated[
        list[Path] | None,
        typer.Option(metavar="PHOTO", help="Photo after a pass, or a folder of them; once for each, in order."),
    ] = None,
    weighing: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Weighing file; the campaign's weighing.toml if not given.")
    ] = None,
    no_photos: Annotated[
        bool, typer.Option("--no-photos", help="The run was weighed only: embedded dust, hair on a brush.")
    ] = False,
    no_weighing: Annotated[
        bool, typer.Option("--no-weighing", help="Leave the campaign's weighing.toml alone.")
    ] = False,
    note: Annotated[str, typer.Option(metavar="TEXT", help="A remark.")] = "",
    yes: Yes = False,
    quiet: Quiet = False,
) -> None:
    """Add a run: takes the newest photos of the inbox, or those that are named, measures them and files all.

    Says which photo it takes for what, checks them, and asks once. With --yes the run is filed whatever the check
    finds, which is said and kept in the record. Nothing is filed unless all of it is.
    """
    from debriscount.opencv import require_opencv

    require_opencv()
    from debriscount.campaign.add_run import add_run
    from debriscount.report.filed import result_files
    from debriscount.report.runs import flag_lines, run_line

    from ._run_answers import gather_run

    made = gather_run(
        campaign,
        machine=machine or "",
        settings=setting or (),
        floor=floor or "",
        debris=debris or (),
        blank=blank,
        before=before,
        afters=after or (),
        weighing=weighing,
        with_photos=not no_photos,
        with_weighing=not no_weighing,
        note=note,
        silent=yes,
        quiet=quiet,
    )
    with progress_bar(not quiet) as progress:
        filed = add_run(made.home, made.campaign, made.new, made.photos, made.runs, result_files, progress)
    if not quiet:
        typer.echo(run_line(filed))
    for line in flag_lines(filed.figures):
        said_aside(line)
    if not quiet:
        said_aside(f"filed {filed.folder}")


@run.command(name="list")
def list_runs(
    *,
    campaign: Home = None,
    json: Json = False,
) -> None:
    """List the runs of a campaign, withdrawn ones included."""
    from debriscount.campaign.places import find_campaign
    from debriscount.campaign.read_runs import read_runs
    from debriscount.report.runs import runs_json, runs_text

    read = read_runs(find_campaign(campaign))
    _say_unread(read.unread)
    if json:
        print_record(runs_json(read))
    elif read.runs:
        typer.echo(runs_text(read.runs), nl=False)
    else:
        said_aside("the campaign has no run yet")


@run.command()
def show(
    number: Number,
    *,
    campaign: Home = None,
    json: Json = False,
) -> None:
    """Show all that is known of a run."""
    from debriscount.campaign.file_run import one_run
    from debriscount.campaign.places import find_campaign
    from debriscount.report.runs import run_record_json, run_text

    found = one_run(find_campaign(campaign), number)
    if json:
        print_record(run_record_json(found))
    else:
        typer.echo(run_text(found), nl=False)


@run.command()
def note(
    number: Number, text: Annotated[str, typer.Argument(metavar="TEXT", help="The remark.")], *, campaign: Home = None
) -> None:
    """Add a remark to a run."""
    from debriscount.campaign.changes import add_note
    from debriscount.campaign.places import find_campaign

    add_note(find_campaign(campaign), number, text)
    said_aside(f"noted on run {number}")


@run.command()
def withdraw(
    number: Number,
    *,
    why: Annotated[str, typer.Option(metavar="TEXT", help="Why it counts no more.")],
    campaign: Home = None,
) -> None:
    """Have a run count no more. Nothing of it is deleted; its photos may be filed again."""
    from debriscount.campaign.changes import withdraw as withdrawn
    from debriscount.campaign.places import find_campaign

    withdrawn(find_campaign(campaign), number, why)
    said_aside(f"run {number} counts no more; debriscount run restore {number} takes that back")


@run.command()
def restore(number: Number, *, campaign: Home = None) -> None:
    """Have a withdrawn run count again."""
    from debriscount.campaign.changes import restore as restored
    from debriscount.campaign.places import find_campaign

    restored(find_campaign(campaign), number)
    said_aside(f"run {number} counts again")


@run.command()
def side(
    number: Number,
    quantity: Annotated[
        str,
        typer.Argument(
            metavar="WHAT",
            help="sound-level, air-flow, suction, run-time, height, climbed, mass or bin-volume.",
        ),
    ],
    readings: Annotated[list[str], typer.Argument(metavar="READING", help="Readings; yes or no for climbed.")],
    *,
    unit: Annotated[str, typer.Option(help='Unit of the readings, such as "m³/h" or "dB(A)".')] = "",
    uncertainty: Annotated[
        str | None, typer.Option(metavar="U", help="Standard uncertainty of a reading, in the same unit.")
    ] = None,
    instrument: Annotated[str, typer.Option(metavar="NAME", help="What it was measured with.")] = "",
    at: Annotated[str, typer.Option(metavar="TEXT", help='Under which setting or where, such as "boost, 1 m".')] = "",
    campaign: Home = None,
) -> None:
    """Add a measurement beside the photos: sound, air flow, suction, time, height, mass, volume.

    Readings are kept in their unit, and converted when they are shown.
    """
    from debriscount.campaign.changes import add_side
    from debriscount.campaign.file_run import now
    from debriscount.campaign.places import find_campaign
    from debriscount.campaign.side import side_measurement
    from debriscount.report.runs import side_text

    measured = side_measurement(
        quantity, readings, unit, uncertainty=uncertainty, instrument=instrument, at=at, when=now()
    )
    add_side(find_campaign(campaign), number, measured)
    typer.echo(f"Run {number}: {side_text(measured)}")


@run.command()
def remeasure(
    numbers: Annotated[
        list[int] | None,
        typer.Argument(metavar="N", help="Runs; those of an older version if none is given."),
    ] = None,
    *,
    everything: Annotated[bool, typer.Option("--all", help="Measure all runs, whichever version made them.")] = False,
    present_files: Annotated[
        bool,
        typer.Option(
            "--present-files", help="Measure with the campaign's patch, debris and lens files as they are now."
        ),
    ] = False,
    weighing: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Give one run a weighing that was made after it was filed.")
    ] = None,
    from_start: Annotated[
        bool, typer.Option("--from-start", help="Begin anew, though an earlier remeasuring was interrupted.")
    ] = False,
    at_once: Annotated[
        int | None, typer.Option(min=1, max=256, metavar="N", help="Runs at work at once; all cores if not given.")
    ] = None,
    scheduler: Annotated[
        str | None, typer.Option(metavar="ADDRESS", help="Scheduler of a Dask cluster that reaches the same folder.")
    ] = None,
    campaign: Home = None,
    quiet: Quiet = False,
) -> None:
    """Measure runs anew from the photos they keep, on all cores; old records are kept, and what changed is shown.

    Exits with 3 if a run cannot be measured; the others go on. Interrupted and started again, it does what is left.
    """
    from debriscount.opencv import require_opencv

    require_opencv()
    from debriscount.campaign.places import find_campaign
    from debriscount.campaign.remeasure import remeasure as remeasured
    from debriscount.campaign.spread import ways_to_spread
    from debriscount.report.filed import result_files
    from debriscount.report.runs import remeasured_text

    home = find_campaign(campaign)
    with progress_bar(not quiet) as progress, ways_to_spread(at_once, scheduler) as spread:
        done = remeasured(
            home,
            numbers or (),
            result_files,
            spread,
            everything=everything,
            present_files=present_files,
            weighing=weighing,
            from_start=from_start,
            progress=progress,
        )
    _say_unread(done.unread)
    if not quiet:
        typer.echo(remeasured_text(done), nl=False)
    for one in done.runs:
        if one.fault:
            said_aside(f"run {one.run}: {one.fault}")
    if any(one.fault for one in done.runs):
        raise typer.Exit(3)


def _say_unread(unread: "tuple[Unread, ...]") -> None:
    for one in unread:
        said_aside(f"runs/{one.folder}: left out. {one.reason}")
