"""The one place where errors become a line on stderr and an exit code."""

import typer
from typer.core import TyperGroup

from debriscount.errors import DebriscountError

from ._stop import INTERRUPTED
from ._terminal import said_aside


class ErrorsToExitCodes(TyperGroup):
    """A group of commands whose errors a person can read; a bug keeps its traceback.

    It acts in ``invoke``, not around ``main()``, so that tests which call the app see the same.
    """

    def invoke(self, ctx: typer.Context) -> object:  # type: ignore[override]
        """Run the command.

        Raises
        ------
        typer.Exit
            With the error's exit code, or 130 after Ctrl-C or a signal that asks to end.
        """
        try:
            return super().invoke(ctx)
        except DebriscountError as error:
            said_aside(str(error))
            raise typer.Exit(error.exit_code) from None
        except KeyboardInterrupt:
            raise typer.Exit(INTERRUPTED) from None
