import sys
from pathlib import Path

import numpy as np
import pytest

from debriscount.memory import give_back


def resident_mib() -> float:
    status = Path("/proc/self/status").read_text(encoding="ascii")
    return int(status.partition("VmRSS:")[2].split()[0]) / 1024


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="memory is read as Linux tells it")
def test_memory_that_is_done_with_goes_back_to_the_system() -> None:
    # Many small arrays, one of two freed: glibc keeps the holes.
    arrays = [np.ones(8000) for _ in range(4000)]
    full = resident_mib()
    arrays = arrays[::2]
    give_back()
    assert resident_mib() < full - 60
    assert all(a[0] == 1 for a in arrays)


def test_a_system_that_cannot_be_asked_is_no_matter(monkeypatch: pytest.MonkeyPatch) -> None:
    import ctypes

    def refuse(_: object) -> None:
        raise TypeError("LoadLibrary() argument 1 must be str, not None")

    monkeypatch.setattr(ctypes, "CDLL", refuse)
    give_back()
