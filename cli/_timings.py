"""Where the time of a command goes, for ``--timings``."""

import sys
import time
from collections.abc import Callable

from debriscount.columns import aligned

from ._terminal import Progress


class StageTimes:
    """Seconds by stage, as progress tells them: called in the place of a progress bar, which it passes all on to.

    The first stage, loading, begins when this is made; what comes after all is done is writing.
    """

    def __init__(self, clock: Callable[[], float] = time.perf_counter) -> None:
        """Begin; ``clock`` gives seconds."""
        self._clock = clock
        self._then: Progress | None = None
        self._stage, self._since = "loading", clock()
        self._seconds: dict[str, float] = {}

    def showing(self, progress: Progress | None) -> Progress:
        """Pass on to a bar, if there is one."""
        self._then = progress
        return self

    def __call__(self, done: float, what: str) -> None:
        """Take the share done, 0 to 1, and what is being done from here on."""
        self._begin(what if done < 1 else "writing")
        if self._then is not None:
            self._then(done, what)

    def lines(self) -> list[str]:
        """End the last stage; a line a stage, one for the sum and, where the system tells, one for the most memory."""
        self._begin("")
        rows = [[stage, f"{seconds:.2f}", "s"] for stage, seconds in self._seconds.items()]
        rows.append(["in all", f"{sum(self._seconds.values()):.2f}", "s"])
        peak = _peak_mib()
        if peak is not None:
            rows.append(["peak memory", f"{peak:.0f}", "MiB"])
        return aligned(rows)

    def _begin(self, stage: str) -> None:
        now = self._clock()
        self._seconds[self._stage] = self._seconds.get(self._stage, 0.0) + now - self._since
        self._stage, self._since = stage, now


def _peak_mib() -> float | None:
    """Most memory that this process had at once, MiB; None where the system does not tell."""
    try:
        import resource
    except ImportError:
        return None
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return peak / 2 ** (20 if sys.platform == "darwin" else 10)  # bytes there, KiB elsewhere
