"""What is said when a person or the system stops the command, before or after all else has loaded."""

import signal
import sys
from types import FrameType

INTERRUPTED = 130
#: Signals that ask a process to end, beside Ctrl-C; not every system has them.
_ASK_TO_END = ("SIGTERM", "SIGHUP")


def stop_as_by_ctrl_c() -> None:
    """Have signals that ask the process to end do what Ctrl-C does: what is half written is cleared away."""
    for name in _ASK_TO_END:
        number = getattr(signal, name, None)
        # Where it is ignored, as under nohup, that was asked for.
        if number is not None and signal.getsignal(number) == signal.SIG_DFL:
            signal.signal(number, _interrupt)


def ignore_signals() -> None:
    """Let the last line be printed and the process end in peace."""
    for name in ("SIGINT", *_ASK_TO_END):
        if (number := getattr(signal, name, None)) is not None:
            signal.signal(number, signal.SIG_IGN)


def stopped_line() -> str:
    """Return what a person must know who stopped the command."""
    exchange = sys.modules.get("debriscount.inputs.exchange")  # not loaded, it has written nothing
    folders = exchange.written() if exchange else ()
    if not folders:
        return "stopped, nothing written"
    return f"stopped; what was written before is whole: {', '.join(map(str, dict.fromkeys(folders)))}"


def _interrupt(_number: int, _frame: FrameType | None) -> None:
    raise KeyboardInterrupt
