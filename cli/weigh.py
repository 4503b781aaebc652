"""``debriscount weigh``."""

from pathlib import Path
from typing import Annotated

import typer

from ._interview import Interview
from ._options import OverwriteFile, Yes
from ._terminal import print_record, said_aside, terminal_width


def weigh(
    *,
    show: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Print mass balance and pickup of this weighing file; ask nothing."),
    ] = None,
    json: Annotated[bool, typer.Option("--json", help="With --show: print the record as JSON.")] = False,
    out: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="The file to write; weighing.toml, that of the campaign in its folder."),
    ] = None,
    unit: Annotated[str | None, typer.Option(help="Unit of all readings: g or oz.")] = None,
    readability: Annotated[
        str | None, typer.Option(metavar="N", help="Smallest step of the display of the scale.")
    ] = None,
    repeatability: Annotated[
        str | None,
        typer.Option(metavar="N", help="Standard deviation of its readings of one load, or the word kitchen."),
    ] = None,
    linearity: Annotated[
        str | None, typer.Option(metavar="N", help="Its greatest error at any load, or the word kitchen.")
    ] = None,
    full: Annotated[
        str | None, typer.Option(metavar="N", help='Cup with the portion; repeated readings as "152.3 152.4".')
    ] = None,
    empty: Annotated[str | None, typer.Option(metavar="N", help="Cup after scattering.")] = None,
    portion: Annotated[
        str | None,
        typer.Option(metavar="N", help="The portion alone, if the scale was set to zero with the cup on it."),
    ] = None,
    left_in_cup: Annotated[
        str | None, typer.Option(metavar="N", help="What stayed in the cup, if the cup was weighed empty before.")
    ] = None,
    clean_cup: Annotated[str | None, typer.Option(metavar="N", help="Cup when clean.")] = None,
    bin_before: Annotated[str | None, typer.Option(metavar="N", help="Bin of the machine before the run.")] = None,
    bin_after: Annotated[str | None, typer.Option(metavar="N", help="Bin of the machine after the run.")] = None,
    emptied: Annotated[
        str | None, typer.Option(metavar="N", help='What was emptied out of the bin; in a tray as "gross-tare".')
    ] = None,
    clean_bin: Annotated[str | None, typer.Option(metavar="N", help="Bin when clean.")] = None,
    swept: Annotated[
        list[str] | None,
        typer.Option(
            metavar="ZONE=N", help="Swept up in a zone (open, edge, corner, margin) or in total; once for each."
        ),
    ] = None,
    elsewhere: Annotated[
        list[str] | None,
        typer.Option(
            metavar="PART=N", help="Found on brush, filter or wheels, or hair cut off the brush; once for each."
        ),
    ] = None,
    yes: Yes = False,
    overwrite: OverwriteFile = False,
) -> None:
    """Write down what the scale said, or show what follows from it.

    It asks step by step for what is not given, and keeps every answer: stop with Ctrl-C, go on later. "-" goes back.
    Before you open the machine: machine off, plug or battery out, brush stopped. Never sweep sand or other fine mineral
    dust dry.
    """
    from debriscount.campaign.places import around
    from debriscount.errors import WeighingError
    from debriscount.inputs.save import refuse_existing, save_files
    from debriscount.inputs.weighing_write import weighing_toml
    from debriscount.report.weighing import weighing_text

    from ._kept_answers import KeptAnswers
    from ._remembered import remembered_words
    from ._weighing_answers import gather_weighing

    if show is not None:
        _show(show, json=json)
        return
    campaign = around() if out is None else None
    out = out or (campaign or Path()) / "weighing.toml"
    if not overwrite:
        refuse_existing([out])
    given = {"unit": unit, "readability": readability, "repeatability": repeatability, "linearity": linearity}
    if not any(given.values()):
        known, where = remembered_words(out, campaign)
        given |= known
        if known and not yes:
            said_aside(f"scale as in {where}: steps of {known['readability']} {known['unit']}; options say otherwise")
    given |= {"full": full, "empty": empty, "portion": portion, "left_in_cup": left_in_cup}
    given |= {"clean_cup": clean_cup or given.get("clean_cup")}
    given |= {"bin_before": bin_before, "bin_after": bin_after, "emptied": emptied, "clean_bin": clean_bin}
    kept = KeptAnswers(out)
    interview = Interview(WeighingError, silent=yes, answers={} if yes else kept.read(), keep=kept.keep)
    if interview.answers:
        said_aside(f'taken up where it stopped, with {len(interview.answers)} answers kept; "-" goes back')
    weighing = interview.corrected(
        lambda ask: gather_weighing(given, swept or [], elsewhere or [], ask),
        lambda weighing: f"{weighing_toml(weighing)}\n{weighing_text(weighing, terminal_width())}",
        f"Save this as {out}?",
    )
    text = weighing_toml(weighing)
    if not interview.asked:
        typer.echo(f"{text}\n{weighing_text(weighing, terminal_width())}", nl=False)
    save_files({out: text.encode()}, overwrite=overwrite)
    kept.clear()
    said_aside(f"wrote {out}")


def _show(file: Path, *, json: bool) -> None:
    from debriscount.inputs.weighing_file import read_weighing
    from debriscount.report.weighing import weighing_record, weighing_text

    weighing = read_weighing(file)
    if json:
        print_record(weighing_record(weighing))
    else:
        typer.echo(weighing_text(weighing, terminal_width()), nl=False)
