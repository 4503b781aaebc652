import subprocess
import sys

import pytest

from debriscount.memory import keep_freed


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="page faults are counted as Linux tells them")
def test_arrays_take_the_place_of_those_done_with() -> None:
    # In a process of its own, for it changes how all memory is given out.
    code = """
import resource, numpy as np
from debriscount.memory import keep_freed
keep_freed()
def faults():
    return resource.getrusage(resource.RUSAGE_SELF).ru_minflt
np.ones(10_000_000)
first = faults()
for _ in range(5):
    np.ones(10_000_000)
assert faults() - first < 100, faults() - first  # 19,500 small pages each, or 38 large ones, where memory is cleared anew
"""
    subprocess.run([sys.executable, "-c", code], check=True)


def test_a_system_that_cannot_be_asked_is_no_matter(monkeypatch: pytest.MonkeyPatch) -> None:
    import ctypes

    def refuse(_: object) -> None:
        raise TypeError("LoadLibrary() argument 1 must be str, not None")

    monkeypatch.setattr(ctypes, "CDLL", refuse)
    keep_freed()
