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
    out: Annotated[Path, typer.Option(metavar="FILE", help="The file to write.")] = Path("weighing.toml"),
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

    It asks step by step for what is not given. Before you open the machine: machine off, plug or battery out, brush
    stopped. Never sweep sand or other fine mineral dust dry.
    """
    from debriscount.errors import WeighingError
    from debriscount.inputs.save import refuse_existing, save_files
    from debriscount.inputs.weighing_write import weighing_toml
    from debriscount.report.weighing import weighing_text

    from ._weighing_answers import gather_weighing

    if show is not None:
        _show(show, json=json)
        return
    if not overwrite:
        refuse_existing([out])
    interview = Interview(WeighingError, silent=yes)
    given = {"unit": unit, "readability": readability, "repeatability": repeatability, "linearity": linearity}
    given |= {"full": full, "empty": empty, "portion": portion, "left_in_cup": left_in_cup, "clean_cup": clean_cup}
    given |= {"bin_before": bin_before, "bin_after": bin_after, "emptied": emptied, "clean_bin": clean_bin}
    weighing = gather_weighing(given, swept or [], elsewhere or [], interview.ask)
    text = weighing_toml(weighing)
    typer.echo(f"{text}\n{weighing_text(weighing, terminal_width())}", nl=False)
    if not interview.confirmed(f"Save this as {out}?"):
        said_aside("nothing saved")
        return
    save_files({out: text.encode()}, overwrite=overwrite)
    said_aside(f"wrote {out}")


def _show(file: Path, *, json: bool) -> None:
    from debriscount.inputs.weighing_file import read_weighing
    from debriscount.report.weighing import weighing_record, weighing_text

    weighing = read_weighing(file)
    if json:
        print_record(weighing_record(weighing))
    else:
        typer.echo(weighing_text(weighing, terminal_width()), nl=False)
