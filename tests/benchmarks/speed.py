"""Time and memory of `debriscount measure` on one blank, before and after of 8 megapixels; exits 1 on a missed bar.

The command runs as a process of its own, as a user runs it; then the stages are timed inside this process.
"""

import importlib.metadata
import os
import platform
import resource
import subprocess
import sys
import tempfile
import time
from collections import defaultdict
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from statistics import median
from typing import TYPE_CHECKING, Any
from unittest.mock import patch

if TYPE_CHECKING:
    from tests.benchmarks.scenes import ABSENT, Scene, load_scenes, photos_folder
else:  # run as a script, this folder is where Python looks first
    from scenes import ABSENT, Scene, load_scenes, photos_folder

SCENE = "lentils-oak-corner"
RUNS = 5
BAR_SECONDS = 6.0
BAR_GIB = 1.5

#: Functions that `debriscount.run.measure` calls, by the stage that they stand for.
STAGES = {
    "reading": "load_photo",
    "registering": "register_shots",
    "cover": "cover_maps",
    "grains": "find_grains",
}


def command(scene: Scene, out: Path) -> list[str]:
    """Command line that measures a scene with its blank and debris files."""
    line = [sys.executable, "-m", "debriscount_cli", "measure", "--quiet", "--patch", str(scene.patch)]
    for file in scene.debris:
        line += ["--debris", str(file)]
    if scene.blank:
        line += ["--blank", str(scene.blank)]
    return [*line, "--out", str(out), str(scene.before), str(scene.afters[0])]


def run_command(scene: Scene) -> float:
    """Wall time of one whole process, s."""
    with tempfile.TemporaryDirectory() as folder:
        start = time.perf_counter()
        subprocess.run(command(scene, Path(folder) / "result"), check=True, stdout=subprocess.DEVNULL)
        return time.perf_counter() - start


def children_gib() -> float:
    """Largest resident memory of any process that this one has waited for, GiB."""
    peak = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss
    return peak / 2 ** (30 if sys.platform == "darwin" else 20)


@contextmanager
def timed_stages(seconds: dict[str, float]) -> Iterator[None]:
    """Add up in ``seconds`` what each of ``STAGES`` takes; calls that overlap in time count once."""
    from debriscount.run import measure as run

    until: dict[str, float] = defaultdict(float)

    def timed(stage: str, function: Callable[..., Any]) -> Callable[..., Any]:
        def call(*arguments: Any, **options: Any) -> Any:
            start = time.perf_counter()
            try:
                return function(*arguments, **options)
            finally:
                end = time.perf_counter()
                seconds[stage] += max(0.0, end - max(start, until[stage]))
                until[stage] = max(end, until[stage])

        return call

    with ExitStack() as stack:
        for stage, name in STAGES.items():
            stack.enter_context(patch.object(run, name, timed(stage, getattr(run, name))))
        yield


def profile(scene: Scene) -> dict[str, float]:
    """Seconds that each stage takes, in the order of the work."""
    seconds: dict[str, float] = defaultdict(float)
    start = time.perf_counter()
    from debriscount.report import write_measurement
    from debriscount.run.measure import measure

    seconds["importing"] = time.perf_counter() - start
    with timed_stages(seconds):
        start = time.perf_counter()
        measurement = measure(scene.patch, scene.before, scene.afters[:1], blank=scene.blank, debris=scene.debris)
        whole = time.perf_counter() - start
    seconds["figures and the rest"] = whole - sum(seconds[stage] for stage in STAGES)
    with tempfile.TemporaryDirectory() as folder:
        start = time.perf_counter()
        write_measurement(measurement, Path(folder) / "result")
        seconds["writing"] = time.perf_counter() - start
    return dict(seconds)


def print_versions() -> None:
    """Print what the times depend on."""
    names = ("debriscount", "numpy", "scipy", "opencv-python", "scikit-image", "pillow")
    versions = ", ".join(f"{name} {importlib.metadata.version(name)}" for name in names)
    print(f"Python {platform.python_version()}, {versions}; {os.cpu_count()} cores, {platform.machine()}")


def main() -> int:
    """Run the benchmark; the exit code."""
    folder = photos_folder()
    scenes = load_scenes(folder, SCENE) if folder else []
    if not scenes:
        print(ABSENT)
        return 0
    print_versions()
    # First the processes: the memory of a child is counted from its parent's, which is still small.
    times = [run_command(scenes[0]) for _ in range(RUNS)]
    peak = children_gib()
    middle = median(times)
    print(f"debriscount measure, {SCENE}, blank, before and after of 8 megapixels, {RUNS} runs")
    print(
        f"  wall time    {middle:6.2f} s    (bar {BAR_SECONDS:g}; fastest {min(times):.2f}, slowest {max(times):.2f})"
    )
    print(f"  peak memory  {peak:6.2f} GiB  (bar {BAR_GIB:g})")
    print("one more run inside this process, by stage")
    stages = profile(scenes[0])
    for stage, seconds in stages.items():
        print(f"  {stage:<21}{seconds:6.2f} s  {100 * seconds / sum(stages.values()):3.0f} %")
    missed = [name for name, over in (("time", middle > BAR_SECONDS), ("memory", peak > BAR_GIB)) if over]
    if missed:
        print(f"MISSED: {', '.join(missed)}")
    return 1 if missed else 0


if __name__ == "__main__":
    sys.exit(main())
