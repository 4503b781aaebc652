"""Memory that a stage is done with, handed back to the system."""

import ctypes
from contextlib import suppress


def give_back() -> None:
    """Hand back what was freed: glibc keeps it for later, and what the next stage needs comes on top of that."""
    with suppress(AttributeError, OSError, TypeError):  # other systems do so by themselves, or cannot be asked
        ctypes.CDLL(None).malloc_trim(0)
