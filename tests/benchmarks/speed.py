"""Time and memory of `debriscount measure` on one blank, before and after; exits 1 on a missed bar.

Whole processes, as a user runs them, and in the same run what decoding the photos takes and what the plain script
takes at the same millimetres per pixel: ratios hold on any machine, seconds on one. Stages as ``--timings`` tells them.
"""

import importlib.metadata
import json
import os
import platform
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from statistics import median
from typing import TYPE_CHECKING

import cv2
import numpy as np

if TYPE_CHECKING:
    from tests.benchmarks.scenes import ABSENT, Scene, load_scenes, photos_folder
else:  # run as a script, this folder is where Python looks first
    from scenes import ABSENT, Scene, load_scenes, photos_folder

SCENE = "lentils-oak-corner"
#: Fewer runs would not show how far they differ.
RUNS = 5
#: A tester waits after every run: what `measure` may take in times of decoding, and at least in shares of the script's.
MOST_DECODINGS, LEAST_QUICKER = 14.0, 3.0
#: Memory that a small computer has to spare.
MOST_MIB = 900.0


def command(scene: Scene, out: Path) -> list[str]:
    """Command line that measures a scene with its blank and debris files and tells where its time goes."""
    line = [sys.executable, "-m", "debriscount_cli", "measure", "--quiet", "--timings", "--patch", str(scene.patch)]
    for file in scene.debris:
        line += ["--debris", str(file)]
    if scene.blank:
        line += ["--blank", str(scene.blank)]
    return [*line, "--out", str(out), str(scene.before), str(scene.afters[0])]


def plain_command(scene: Scene, mm_per_px: float) -> list[str]:
    """Command line of the plain script on the same floor view; it takes all passes of a scene."""
    code = "import pathlib, sys, plain_script as p; p.MM_PER_PX = float(sys.argv[2]); p.main(pathlib.Path(sys.argv[1]))"
    return [sys.executable, "-c", code, str(scene.patch.parent), repr(mm_per_px)]


def run(line: list[str]) -> tuple[float, str]:
    """Wall time of one whole process, s, and what it wrote to standard error."""
    start = time.perf_counter()
    done = subprocess.run(
        line, check=True, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True, cwd=Path(__file__).parent
    )
    return time.perf_counter() - start, done.stderr


def stages(timings: str) -> dict[str, float]:
    """Seconds by stage, and MiB for "peak memory", of what ``--timings`` wrote; other lines are left out."""
    found = {}
    for line in timings.splitlines():
        words = line.rsplit(maxsplit=2)
        if len(words) == 3 and words[2] in ("s", "MiB") and words[1].replace(".", "", 1).isdigit():
            found[words[0]] = float(words[1])
    return found


def decoding(scene: Scene) -> float:
    """Seconds that OpenCV takes to decode the photos, one after the other."""
    photos = [photo for photo in (scene.blank, scene.before, scene.afters[0]) if photo]
    start = time.perf_counter()
    for photo in photos:
        cv2.imdecode(np.frombuffer(photo.read_bytes(), np.uint8), cv2.IMREAD_COLOR)
    return time.perf_counter() - start


def missed(measure_s: float, decoding_s: float, plain_s: float, peak_mib: float) -> list[str]:
    """Names of the bars that are missed."""
    bars = {
        "times of decoding": measure_s > MOST_DECODINGS * decoding_s,
        "quicker than the plain script": plain_s < LEAST_QUICKER * measure_s,
        "memory": peak_mib > MOST_MIB,
    }
    return [name for name, over in bars.items() if over]


def spread(seconds: list[float]) -> str:
    """Least, median and most."""
    return f"{min(seconds):6.2f} {median(seconds):6.2f} {max(seconds):6.2f} s"


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
    scene = scenes[0]
    print_versions()
    measured, plain, decoded, peaks, told = [], [], [], [], {}
    with tempfile.TemporaryDirectory() as place:
        for number in range(RUNS):  # in turns: what else the machine does hits all three alike
            out = Path(place) / str(number)
            seconds, timings = run(command(scene, out))
            told = stages(timings)
            measured.append(seconds)
            peaks.append(told["peak memory"])
            grid = json.loads((out / "measurement.json").read_text(encoding="utf-8"))["grid"]
            plain.append(run(plain_command(scene, grid["mm_per_px"]))[0])
            decoded.append(decoding(scene))
    print(f"{SCENE}, {RUNS} runs: least, median and most")
    for name, times in (("debriscount measure", measured), ("plain script", plain), ("decoding alone", decoded)):
        print(f"  {name:<21}{spread(times)}")
    print(f"  peak memory          {max(peaks):6.0f} MiB (bar {MOST_MIB:g})")
    print(f"  measure in times of decoding        {median(measured) / median(decoded):5.1f} (bar {MOST_DECODINGS:g})")
    print(f"  plain script in times of measure    {median(plain) / median(measured):5.2f} (bar {LEAST_QUICKER:g})")
    print("the last run, by stage")
    whole = told["in all"]
    for stage, seconds in told.items():
        if stage not in ("in all", "peak memory"):
            print(f"  {stage:<30}{seconds:6.2f} s  {100 * seconds / whole:3.0f} %")
    over = missed(median(measured), median(decoded), median(plain), max(peaks))
    if over:
        print(f"MISSED: {', '.join(over)}")
    return 1 if over else 0


if __name__ == "__main__":
    sys.exit(main())
