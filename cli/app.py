"""The commands of ``debriscount``."""

from typing import Annotated

import typer

from ._group import ErrorsToExitCodes
from .agreement import agreement
from .campaign import campaign
from .compare import compare
from .count import count
from .debris import debris
from .demo import demo
from .film import film
from .lens import lens
from .manual import manual
from .markers import markers
from .measure import measure
from .page import page
from .patch import patch
from .plan import plan
from .portion import portion
from .run import run
from .schema import schema
from .shot import shot
from .simulate import simulate
from .stills import clip, stills
from .summary import summary
from .verify import verify
from .weigh import weigh

app = typer.Typer(
    cls=ErrorsToExitCodes,
    help="Measure from photos how much debris a floor cleaning robot picked up.",
    epilog="debriscount manual lists the pages of the manual.",
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"]},
)
app.add_typer(patch, name="patch")
app.add_typer(debris, name="debris")
app.command()(markers)
app.command()(measure)
app.command()(page)
app.command()(verify)
app.command()(count)
app.command()(shot)
app.command()(portion)
app.command()(lens)
app.command()(weigh)
app.command()(agreement)
app.add_typer(campaign, name="campaign")
app.add_typer(run, name="run")
app.command()(plan)
app.command()(summary)
app.command()(compare)
app.command()(schema)
app.command()(demo)
app.command()(stills)
app.command()(clip)
app.command()(film)
app.command()(simulate)
app.command()(manual)


def _print_version(wanted: bool) -> None:
    if wanted:
        from debriscount import __version__

        typer.echo(f"debriscount {__version__}")
        raise typer.Exit


@app.callback()
def _options(
    *,
    version: Annotated[
        bool, typer.Option("--version", help="Print the version.", callback=_print_version, is_eager=True)
    ] = False,
) -> None:
    pass
