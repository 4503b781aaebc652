"""The check of a shot: how long it takes, and whether its word holds; parts *time* and *verdict* of `geometry.py`."""

import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from statistics import median
from typing import TYPE_CHECKING

import numpy as np

from debriscount.errors import DebriscountError
from debriscount.inputs.debris import DebrisKind
from debriscount.inputs.patch import Patch
from debriscount.layout.lay_patch import lay_patch
from debriscount.simulate.floors import usual_color
from debriscount.simulate.scene import make_scene
from debriscount.simulate.spec import Camera, Imaging, Portion, Rgb, SceneSpec
from debriscount.simulate.truth import draw_truth
from debriscount.simulate.write import write_scene

if TYPE_CHECKING:
    from tests.benchmarks.geometry_scenes import photographed, source, verdict_shots
else:  # run as a script, this folder is where Python looks first
    from geometry_scenes import photographed, source, verdict_shots

WANTED_PERCENT = (0.5, 1.0, 2.0)
#: Both say what the shot is good for; anything else is a mistake.
ANSWERS = (0, 3)


@dataclass(frozen=True, slots=True)
class TimeRow:
    """Wall times of whole processes, s: the check of a shot, and Python that imports OpenCV and NumPy.

    ``failure`` says why the first are not there.
    """

    shot_s: tuple[float, ...] = ()
    bare_s: tuple[float, ...] = ()
    failure: str | None = None


def time_run(runs: int) -> TimeRow:
    """Check one photo of 12 megapixels ``runs`` times after once to warm up, in turn with the bare imports."""
    lentils = DebrisKind("lentils", (205, 100, 55), (4.3, 5.6))
    spec = SceneSpec(
        lay_patch(600, 400, ("top", "left")),
        (Portion(lentils, 0.05),),
        passes=(),
        camera=Camera(megapixels=12.0),
        imaging=Imaging(bayer=True),
        blank=False,
    )
    with tempfile.TemporaryDirectory() as folder:
        run = Path(folder) / "run"
        write_scene(make_scene(spec), run)
        debris = next(file for file in sorted(run.glob("*.toml")) if file.name != "patch.toml")
        shot = [sys.executable, "-m", "debriscount_cli", "shot", str(run / "before.jpg")]
        shot += ["--patch", str(run / "patch.toml"), "--debris", str(debris)]
        return timed(shot, [sys.executable, "-c", "import cv2, numpy"], runs)


def timed(shot: Sequence[str], bare: Sequence[str], runs: int) -> TimeRow:
    """Time two commands in turn, so that both meet the same machine."""
    shot_s, bare_s = [], []
    for number in range(runs + 1):
        bare_time, _ = _process(bare)
        shot_time, done = _process(shot)
        if done.returncode not in ANSWERS:
            said = done.stderr.strip().splitlines()
            return TimeRow(failure=f"exit code {done.returncode}: {said[-1] if said else ''}")
        if number:
            shot_s.append(round(shot_time, 3))
            bare_s.append(round(bare_time, 3))
    return TimeRow(tuple(shot_s), tuple(bare_s))


def _process(command: Sequence[str]) -> tuple[float, subprocess.CompletedProcess[str]]:
    start = time.perf_counter()
    done = subprocess.run(command, check=False, capture_output=True, text=True)
    return time.perf_counter() - start, done


@dataclass(frozen=True, slots=True)
class VerdictRow:
    """One run: what the check said of its shots, and what measuring it was off by, percentage points of pickup.

    ``faults`` are the names of what was found beyond its limit, with the shot; ``error`` is None if the run could not
    be measured, and ``failure`` says why.
    """

    seed: int
    want: float
    fit: bool
    faults: tuple[str, ...]
    error: float | None
    facts: str
    failure: str | None = None

    @property
    def within(self) -> bool:
        """Whether the measured pickup is as near to the true one as was wanted."""
        return self.error is not None and abs(self.error) <= self.want


def verdict(files: Mapping[str, Path], patch: Patch, kind: DebrisKind, want: float) -> tuple[str, ...]:
    """Ask the check for every shot, each but the first against the first; return the faults, none if all are fit."""
    from debriscount.photo.read import read_photo
    from debriscount.shot_check.shot import check_shot

    photos = {name: read_photo(file) for name, file in files.items()}
    first = next(iter(photos))
    faults: list[str] = []
    for name, photo in photos.items():
        against = None if name == first else photos[first]
        try:
            said = check_shot(photo, patch, (kind,), against=against, want_percent=want)
        except DebriscountError as refusal:
            faults.append(f"{name}: {type(refusal).__name__}")
        else:
            faults += [f"{name}: {finding.name}" for finding in said.faults]
    return tuple(faults)


def verdict_run(seed: int) -> VerdictRow:
    """Make a run, have its shots judged, measure it, and lay pickup by area beside the truth."""
    from debriscount.run.measure import measure

    specs = verdict_shots(seed)
    spec = next(iter(specs.values()))
    truth = draw_truth(spec)
    want = float(source("want", seed).choice(WANTED_PERCENT))
    kind = spec.portions[0].kind
    error, failure = None, None
    with tempfile.TemporaryDirectory() as folder:
        files = {name: Path(folder) / f"{name}.jpg" for name in specs}
        for name, data in photographed(specs, truth).items():
            files[name].write_bytes(data)
        faults = verdict(files, spec.patch, kind, want)
        try:
            found = measure(spec.patch, files["before"], files["after"], blank=files.get("blank"), debris=[kind])
            pickup, true = found.pickup_percent, truth.pickup_percent(1)["patch"]
            error = None if pickup is None or true is None else round(pickup - true, 3)
        except DebriscountError as refusal:
            failure = str(refusal)
    return VerdictRow(seed, want, not faults, faults, error, run_facts(specs), failure)


def run_facts(specs: Mapping[str, SceneSpec]) -> str:
    """Return the factors of a run in one line, those of a shot that differs after it."""
    spec = next(iter(specs.values()))
    kind = spec.portions[0].kind
    line = (
        f"{_hex(kind.color_srgb)} of {kind.size_mm[0]:.1f} to {kind.size_mm[1]:.1f} mm on {spec.floor.kind} "
        f"{_hex(usual_color(spec.floor))} of contrast {spec.floor.contrast:.1f}, {spec.camera.megapixels:.1f} MP, "
        f"tilt {spec.camera.tilt_deg:.0f}, k1 {spec.camera.k1:+.2f}, {'blank' if spec.blank else 'no blank'}; "
    )
    odd = {name: own for name, own in specs.items() if list(specs.values()).count(own) == 1 and len(specs) > 1}
    usual = next((own for name, own in specs.items() if name not in odd), spec)
    parts = {"all": usual, **odd} if len(odd) < len(specs) else odd
    return line + "; ".join(f"{name}: {_quality(own)}" for name, own in parts.items())


def _hex(color: Rgb) -> str:
    return "#" + "".join(f"{value:02x}" for value in color)


def _quality(spec: SceneSpec) -> str:
    imaging, light = spec.imaging, spec.light
    return (
        f"blur {imaging.blur_px:.1f}, exposure {imaging.exposure:.2f}, full well {imaging.full_well:.0f}, "
        f"JPEG {imaging.jpeg_quality}, gradient {light.gradient:.2f}, person {light.person:.2f}, "
        f"gloss {spec.floor.gloss:.2f}, white {imaging.white_drift:.2f}"
    )


def summarise_time(row: TimeRow) -> dict[str, float | None]:
    """Return the middle time, and that of the bare imports beside it."""
    shot = median(row.shot_s) if row.shot_s else None
    bare = median(row.bare_s) if row.bare_s else None
    return {
        "time: shot of 12 megapixels, median, s": shot,
        "time: over that of python -c 'import cv2, numpy'": shot / bare if shot and bare else None,
    }


def print_time(row: TimeRow) -> None:
    """Print every time."""
    print("\ntime of whole processes, s")
    if row.failure:
        print(f"  shot FAILED: {row.failure}")
    for name, times in (("shot", row.shot_s), ("bare imports", row.bare_s)):
        if times:
            print(f"  {name:14}{median(times):6.2f}  ({min(times):.2f} to {max(times):.2f}, {len(times)} runs)")


def summarise_verdicts(rows: Sequence[VerdictRow]) -> dict[str, float | None]:
    """Return how often the word *fit* held, and how many good runs got it."""
    within = [row.within for row in rows if row.fit]
    fit = [row.fit for row in rows if row.within]
    return {
        "verdict: within the accuracy wanted, of those called fit, %": 100 * float(np.mean(within)) if within else None,
        "verdict: called fit, of those within, %": 100 * float(np.mean(fit)) if fit else None,
    }


def print_verdicts(rows: Sequence[VerdictRow]) -> None:
    """Print the table of verdicts and errors, what kept good runs from being fit, and every broken word."""
    print("\nverdict: runs by what was said and how far the measured pickup was off")
    print(f"{'':24}{'within':>8}{'beyond':>8}")
    groups = {"all": list(rows), **{f"want {w:g}": [r for r in rows if r.want == w] for w in WANTED_PERCENT}}
    for name, own in groups.items():
        for word, fit in (("fit", True), ("not fit", False)):
            said = [row for row in own if row.fit == fit]
            within = sum(row.within for row in said)
            print(f"{name + ', ' + word:24}{within:8}{len(said) - within:8}")
    counts = Counter(_names(row) for row in rows if row.within and not row.fit)
    print("not fit but within, by what was found faulty")
    for names, count in counts.most_common():
        print(f"  {count:4}  {names}")
    for row in rows:
        if row.fit and not row.within:
            off = "not measured" if row.error is None else f"off by {row.error:+.2f}"
            print(
                f"  seed {row.seed}: fit for {row.want:g}, {off}: {row.facts}"
                + (f": {row.failure}" if row.failure else "")
            )


def _names(row: VerdictRow) -> str:
    return ", ".join(sorted({fault.split(": ", 1)[-1] for fault in row.faults}))
