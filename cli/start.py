"""Where the process begins and ends: signals, streams, and one way out.

Nothing that takes time is imported before signals are looked after.
"""

import gc
import os
import sys

TYPE_CHECKING = False
if TYPE_CHECKING:  # loading typing would take a while
    from types import TracebackType
    from typing import NoReturn


def _without_traceback(kind: type[BaseException], error: BaseException, trace: "TracebackType | None") -> None:
    """End what Ctrl-C stops outside `main`'s own care, such as while the first modules load."""
    if not issubclass(kind, KeyboardInterrupt):
        sys.__excepthook__(kind, error, trace)
        return
    from ._stop import INTERRUPTED, ignore_signals, stopped_line

    ignore_signals()
    _last_line(stopped_line())
    os._exit(INTERRUPTED)


# Before anything else is imported, for Ctrl-C may come at any moment.
sys.excepthook = _without_traceback
# Matrices here are small, and threads that wait for one another over them take longer than one that does the work.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")


def main() -> "NoReturn":
    """Run the command line."""
    from debriscount.errors import DebriscountError
    from debriscount.memory import keep_freed

    from ._stop import INTERRUPTED, ignore_signals, stop_as_by_ctrl_c, stopped_line

    code: str | int | None = 0
    try:
        stop_as_by_ctrl_c()
        keep_freed()
        # A run makes few objects that go in circles, and looking for such among all that was loaded takes time.
        gc.set_threshold(50_000)
        from .app import app

        _plain_streams()
        app()
    except SystemExit as end:
        code = end.code
    except DebriscountError as error:  # before any command ran: the help could not be printed
        code = error.exit_code
        _last_line(str(error))
    except KeyboardInterrupt:
        code = INTERRUPTED
    ignore_signals()
    if code == INTERRUPTED:  # wherever it was caught
        _last_line(stopped_line())
        _flushed(code)
        os._exit(INTERRUPTED)  # past Python's own word on an interrupt that came while a module was loading
    sys.exit(_flushed(code))


def _plain_streams() -> None:
    from ._streams import PlainStream

    for name, called in (("stdout", "standard output"), ("stderr", "standard error")):
        stream = getattr(sys, name)
        if stream is None:
            continue
        # A terminal or pipe that cannot show "±" or a file's name must not end a measurement.
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")
        setattr(sys, name, PlainStream(stream, called))


def _last_line(text: str) -> None:
    try:
        print(text, file=sys.stderr, flush=True)  # noqa: T201 - typer may not have loaded
    except OSError:
        return


def _flushed(code: str | int | None) -> str | int | None:
    """Return the exit code: another, with a line, where what was printed last cannot be written."""
    try:
        if sys.stdout is not None:
            sys.stdout.flush()
    except BrokenPipeError:
        code = code or 1
    except OSError as error:  # our own among them
        _last_line(str(error))
        code = getattr(error, "exit_code", 2)
    else:
        return code
    # What is left in the buffer would be tried, and complained of, once more.
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, 1)
    os.close(nowhere)
    return code
