"""What summary and compare take of campaigns of 500, 1,000 and 2,000 runs.

    python tests/benchmarks/many_runs.py [--runs 500 1000 2000] [--times 3]

The runs are those of the shipped campaign of two brushes, copied under new numbers. Printed are, for each command as a
process of its own, processor time and time by the clock, the least of several, and its peak memory: from the index that
an earlier command has left, and from all files where there is none (bar: 2 s and 300 MiB for 2,000 runs, cost in
proportion to runs). Last, what one more run costs, between one number of runs and the next.
Needs Linux and no photo sets.
"""

import argparse
import json
import os
import shutil
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

from debriscount.campaign.places import RUN, RUNS
from debriscount.campaign.read_runs import INDEX
from debriscount.shipped import shipped_folder

COMMANDS = {
    "summary": ("summary", "--by", "machine", "--json"),
    "compare": ("compare", "--factor", "machine", "--json"),
}

#: The bar for 2,000 runs.
MOST_S, MOST_MIB = 2.0, 300.0


@dataclass(frozen=True, slots=True)
class Cost:
    """What a process took: processor time and time by the clock, s, and its peak memory, MiB."""

    cpu_s: float
    clock_s: float
    peak_mib: float


def make_campaign(home: Path, count: int) -> None:
    """A campaign of so many runs, without photos."""
    shipped = shipped_folder("debriscount._reference", "reference_images") / "two-brushes"
    shutil.copytree(shipped, home, ignore=lambda *_: [RUNS])
    runs = sorted(path for path in (shipped / RUNS).iterdir() if path.is_dir())
    for number in range(1, count + 1):
        own = runs[(number - 1) % len(runs)]
        folder = home / RUNS / f"{number:04d}"
        shutil.copytree(own, folder)
        record = json.loads((own / RUN).read_bytes()) | {"run": number}
        (folder / RUN).write_text(json.dumps(record), encoding="utf-8")
    for path in (home / RUNS).glob("*/*"):  # else too young for the index
        os.utime(path, (1_700_000_000, 1_700_000_000))


def cost(home: Path, command: tuple[str, ...], times: int, *, indexed: bool) -> Cost:
    """The least that a command takes."""
    costs = []
    for _ in range(times):
        if not indexed:
            (home / RUNS / INDEX).unlink(missing_ok=True)
        start = time.perf_counter()
        child = subprocess.Popen(
            [sys.executable, "-m", "debriscount_cli", *command, "--campaign", str(home)], stdout=subprocess.DEVNULL
        )
        _, ended, used = os.wait4(child.pid, 0)
        child.returncode = os.waitstatus_to_exitcode(ended)
        assert child.returncode == 0
        costs.append(Cost(used.ru_utime + used.ru_stime, time.perf_counter() - start, used.ru_maxrss / 1024))
    return Cost(*(min(getattr(one, name) for one in costs) for name in ("cpu_s", "clock_s", "peak_mib")))


def main() -> bool:
    """Measure and print, and return whether a bar is missed."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--runs", type=int, nargs="+", default=[500, 1000, 2000])
    parser.add_argument("--times", type=int, default=3)
    options = parser.parse_args()
    found: dict[tuple[str, bool, int], Cost] = {}
    with tempfile.TemporaryDirectory() as name:
        for count in options.runs:
            home = Path(name) / str(count)
            make_campaign(home, count)
            for what, command in COMMANDS.items():
                for indexed in (False, True):
                    one = found[what, indexed, count] = cost(home, command, options.times, indexed=indexed)
                    source = "from the index" if indexed else "from all files"
                    print(
                        f"{what}, {count} runs, {source}: {one.cpu_s:.2f} s of processor, {one.clock_s:.2f} s by the"
                        f" clock, {one.peak_mib:.0f} MiB",
                        flush=True,
                    )
    for what in COMMANDS:
        for indexed in (False, True):
            steps = [
                (found[what, indexed, more].cpu_s - found[what, indexed, fewer].cpu_s) / (more - fewer)
                for fewer, more in pairwise(options.runs)
            ]
            shown = ", then ".join(f"{1e3 * step:.2f} ms" for step in steps)
            print(f"{what}, {'from the index' if indexed else 'from all files'}: one more run costs {shown}")
    most = [one for (*_, count), one in found.items() if count <= 2000]
    return any(one.cpu_s > MOST_S or one.peak_mib > MOST_MIB for one in most)


if __name__ == "__main__":
    sys.exit(main())
