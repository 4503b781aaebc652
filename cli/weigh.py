"""``debriscount weigh``."""

from pathlib import Path
from typing import Annotated

import typer

from ._interview import Interview
from ._terminal import said_aside, terminal_width


def weigh(
    *,
    show: Annotated[
        Path | None, typer.Option(metavar="FILE", help="weighing.toml to print balance and pickup of; asks nothing.")
    ] = None,
    json: Annotated[bool, typer.Option("--json", help="With --show: print the record as JSON.")] = False,
    out: Annotated[Path, typer.Option(metavar="FILE", help="The file to write.")] = Path("weighing.toml"),
    unit: Annotated[str | None, typer.Option(help="g or oz, in which all readings are.")] = None,
    readability: Annotated[str | None, typer.Option(metavar="N", help="Smallest step of the scale's display.")] = None,
    repeatability: Annotated[
        str | None, typer.Option(metavar="N", help="Standard deviation of readings of one load; or kitchen.")
    ] = None,
    linearity: Annotated[
        str | None, typer.Option(metavar="N", help="The scale's greatest error at any load; or kitchen.")
    ] = None,
    full: Annotated[
        str | None, typer.Option(metavar="N", help='Cup with the portion; repeats as "152.3 152.4".')
    ] = None,
    empty: Annotated[str | None, typer.Option(metavar="N", help="Cup after scattering.")] = None,
    portion: Annotated[
        str | None, typer.Option(metavar="N", help="The portion itself, scale set to zero with the cup on it.")
    ] = None,
    left_in_cup: Annotated[
        str | None, typer.Option(metavar="N", help="What stayed in the cup, if weighed empty before.")
    ] = None,
    clean_cup: Annotated[str | None, typer.Option(metavar="N", help="Cup when clean.")] = None,
    bin_before: Annotated[str | None, typer.Option(metavar="N", help="Machine's bin before the run.")] = None,
    bin_after: Annotated[str | None, typer.Option(metavar="N", help="Machine's bin after the run.")] = None,
    emptied: Annotated[
        str | None, typer.Option(metavar="N", help='Content of the bin; "gross-tare" for a tray.')
    ] = None,
    clean_bin: Annotated[str | None, typer.Option(metavar="N", help="Bin when clean.")] = None,
    swept: Annotated[
        list[str] | None,
        typer.Option(metavar="ZONE=N", help="Swept up in open, edge, corner, margin, or total; once for each."),
    ] = None,
    elsewhere: Annotated[
        list[str] | None,
        typer.Option(metavar="PART=N", help="Found on brush, filter, wheels, or hair cut off; once for each."),
    ] = None,
    yes: Annotated[bool, typer.Option("--yes", "-y", help="Take the usual for what is not given.")] = False,
    overwrite: Annotated[bool, typer.Option("--overwrite", help="Replace a file that is there.")] = False,
) -> None:
    """Write down what the scale said, asking step by step; or print balance and pickup by scale with --show."""
    from debriscount.errors import WeighingError
    from debriscount.inputs.save import refuse_existing, save_files
    from debriscount.inputs.weighing_answers import gather_weighing
    from debriscount.inputs.weighing_write import weighing_toml
    from debriscount.scale.statement import weighing_text

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
    from debriscount.scale.statement import weighing_record, weighing_text

    weighing = read_weighing(file)
    if json:
        from json import dumps

        typer.echo(dumps(weighing_record(weighing), indent=1, allow_nan=False))
    else:
        typer.echo(weighing_text(weighing, terminal_width()), nl=False)
