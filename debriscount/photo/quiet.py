"""The process's stderr kept for our own messages."""

import os
from collections.abc import Iterator
from contextlib import contextmanager


@contextmanager
def quiet_stderr() -> Iterator[None]:
    """Send what C libraries print on stderr nowhere.

    libtiff and LibRaw print what is wrong with a file besides raising it, and their Python sides have no switch for
    that. The file descriptor is the whole process's, so that only one thread may do this at a time.
    """
    try:
        kept = os.dup(2)
    except OSError:  # there is no stderr to keep clean
        yield
        return
    try:
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, 2)
        os.close(nowhere)
        yield
    finally:
        os.dup2(kept, 2)
        os.close(kept)
