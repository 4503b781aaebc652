"""Folders kept for one writer at a time, across processes; a writer that dies lets go."""

import os
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from ..errors import OutputError

#: Others keep a folder while they rename files: far less than that.
WAIT_S = 30.0
_EVERY_S = 0.05

if sys.platform == "win32":
    _NAME = ".writing"

    def _taken(folder: Path) -> tuple[int, bool] | None:
        """Descriptor of a file that is there once and vanishes with whoever made it; None if it is another's."""
        try:
            return os.open(folder / _NAME, os.O_CREAT | os.O_EXCL | os.O_RDWR | os.O_TEMPORARY), True
        except (FileExistsError, PermissionError):
            return None

else:
    import fcntl

    def _taken(folder: Path) -> tuple[int, bool] | None:
        """Descriptor of the folder itself, so that nothing is left in it, and whether the disk allows locks.

        None if another has it.
        """
        descriptor = os.open(folder, os.O_RDONLY)
        try:
            fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except (BlockingIOError, PermissionError):
            os.close(descriptor)
            return None
        except OSError:  # a disk without locks must not cost a measurement
            return descriptor, False
        return descriptor, True


class Hold:
    """A folder kept until `release`, or until the process ends; ``sure`` is False where the disk allows no locks."""

    def __init__(self, descriptor: int, sure: bool) -> None:
        self._descriptor: int | None = descriptor
        self.sure = sure

    def release(self) -> None:
        """Let go; again does nothing."""
        if self._descriptor is not None:
            os.close(self._descriptor)
            self._descriptor = None


def hold(folder: Path) -> Hold | None:
    """Keep a folder for this process; None where another has it."""
    taken = _taken(folder)
    return None if taken is None else Hold(*taken)


@contextmanager
def locked(folder: Path) -> Iterator[None]:
    """Keep a folder while the block runs, and wait for others to let go of it.

    Raises
    ------
    OutputError
        They do not within `WAIT_S`.
    """
    until = time.monotonic() + WAIT_S
    while (held := hold(folder)) is None:
        if time.monotonic() > until:
            raise OutputError(
                f"{folder}: another process has been writing there for {WAIT_S:.0f} s. Wait for it, or choose another"
                " folder."
            )
        time.sleep(_EVERY_S)
    try:
        yield
    finally:
        held.release()
