"""Films with exact truth: debris left at every sampled time, the machine's way, speed and memory.

Needs no photo sets. Films are drawn into the folder given with --keep and used again from there, or into one that is
thrown away. ``--only NAME`` takes one film, ``--quick`` the first two; ``--minutes N`` is the longer of the two films by
which memory is told to stay.
"""

import argparse
import json
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import cv2
import numpy as np

from debriscount.film.left import LeftOver
from debriscount.film.measure import measure_film
from debriscount.film.records import MeasuredFilm
from debriscount.simulate.film import FilmSpec, draw_film
from debriscount.simulate.machine import Machine
from debriscount.simulate.options import scene_spec
from debriscount.simulate.write_film import write_film

CALIBRATION = Path(__file__).parents[2] / "calibration"
CURVE_POINTS, TRACK_MM, FRAMES_S, MEMORY_MIB = 1.5, 10.0, 5.0, 1.2 * 1024
#: Memory that a film ten times as long may take more, MiB: its track and curve, and what the system rounds up.
GROWTH_MIB = 60.0


def films() -> dict[str, FilmSpec]:
    """Films unlike each other in floor, debris, machine and mishaps."""
    oak = FilmSpec(scene=scene_spec(patch_mm="1200x800", seed=1, tilt_deg=3), rate=15)
    small = {"patch_mm": "900x600", "tilt_deg": 3.0}
    return {
        "lentils on planks": oak,
        "brown grains on tile, knock and hand": FilmSpec(
            scene=scene_spec(floor="tile", color="#5a3a22", size_mm="3,5", seed=2, **small),  # type: ignore[arg-type]
            rate=15,
            knock_s=15,
            hand_s=(8, 11),
        ),
        "pale rice on carpet, deep shadow": FilmSpec(
            scene=scene_spec(floor="carpet", color="#efe6cf", size_mm="4,7", shape="long", seed=3, **small),  # type: ignore[arg-type]
            rate=12,
            shadow=0.6,
        ),
        "white machine on terrazzo, two passes": FilmSpec(
            scene=scene_spec(floor="terrazzo", color="#7a2c1c", size_mm="4,6", seed=4, **small),  # type: ignore[arg-type]
            rate=12,
            passes=2,
            machine=Machine(color_srgb=(236, 236, 232), pickup=0.6),
        ),
        "lentils between walls, flicker": FilmSpec(
            scene=scene_spec(floor="plain", walls=("top", "left"), load_percent=8, seed=5, **small),  # type: ignore[arg-type]
            rate=12,
            flicker=0.08,
        ),
        **fresh_films(),
    }


def fresh_films() -> dict[str, FilmSpec]:
    """Films that were drawn once all rules and constants were fixed."""
    kinds = [CALIBRATION / "debris" / f"{name}.toml" for name in ("green-lentils", "rice")]
    return {
        "two kinds on tile, a wall below": FilmSpec(
            scene=scene_spec(
                debris=kinds, floor="tile", floor_color="#7d8a94", patch_mm="1000x700", walls=("bottom",), seed=21
            ),
            rate=12,
        ),
        "dark grains on plain green, small quick machine, lanes across": FilmSpec(
            scene=scene_spec(
                floor="plain",
                floor_color="#a9bfa0",
                color="#2b1d14",
                size_mm="5,7",
                patch_mm="700x900",
                walls=("left", "right"),
                seed=22,
            ),
            rate=15,
            machine=Machine(diameter_mm=250, height_mm=75, mouth_mm=160, pitch_mm=140, speed_mm_s=300, pickup=0.85),
            knock_s=9,
            knock_mm=25,
        ),
        "pale grains on dark terrazzo, a hand, three passes": FilmSpec(
            scene=scene_spec(
                floor="terrazzo", floor_color="#6e6258", color="#e8dfb0", size_mm="4,6", patch_mm="800x600", seed=23
            ),
            rate=10,
            passes=3,
            hand_s=(20, 24),
            machine=Machine(diameter_mm=350, mouth_mm=200, pickup=0.5, color_srgb=(150, 30, 34)),
        ),
    }


def truth_of(folder: Path) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Times, debris left in percent and places of the machine, frame by frame."""
    frames = json.loads((folder / "truth.json").read_text())["frames"]
    return (
        np.array([f["t_s"] for f in frames]),
        np.array([f["left_percent"] for f in frames]),
        np.array([[f["x_mm"], f["y_mm"]] for f in frames]),
    )


def curve_errors(measured: MeasuredFilm, folder: Path) -> np.ndarray:
    """Debris left, measured less true, at every sampled time, points."""
    times, left, _ = truth_of(folder)
    return np.asarray(measured.left["patch"].percent - np.interp(measured.times_s, times, left))


def track_errors(measured: MeasuredFilm, folder: Path) -> np.ndarray:
    """Distance of every place of the track from the true one, mm."""
    times, _, places = truth_of(folder)
    track = measured.track
    off = [
        track.x_mm - np.interp(track.times_s, times, places[:, 0]),
        track.y_mm - np.interp(track.times_s, times, places[:, 1]),
    ]
    far = np.hypot(*off)
    return np.asarray(far[np.isfinite(far)])


def inside(left: LeftOver, true: np.ndarray) -> str:
    """In how many samples after the first the truth lies in the 95 % interval."""
    held = ((left.low95_percent <= true) & (true <= left.high95_percent))[1:]
    wide = np.median(left.high95_percent - left.low95_percent) / 2
    return f"{held.sum()} of {len(held)} in their interval, +- {wide:.1f} in the middle"


def print_kinds(measured: MeasuredFilm, folder: Path) -> None:
    """Print errors of each kind, where there are several."""
    frames = json.loads((folder / "truth.json").read_text())["frames"]
    times = [frame["t_s"] for frame in frames]
    for kind, left in measured.left_by_kind.items():
        true = np.interp(measured.times_s, times, [frame["left_percent_by_kind"][kind] for frame in frames])
        off = np.abs(left["patch"].percent - true)
        print(f"  {kind} alone: {off.max():.2f} points at worst, {np.median(off):.2f} median", flush=True)


def spread_ratio(folder: Path, every_s: float) -> float:
    """By how much all cores are quicker than one stretch at a time, learning the floor included; and alike."""
    taken, found = [], []
    for at_once in (1, None):
        start = time.perf_counter()
        found.append(measured_film(folder, blank=True, every_s=every_s, at_once=at_once).left["patch"].percent)
        taken.append(time.perf_counter() - start)
    assert np.array_equal(found[0], found[1])
    return taken[0] / taken[1]


def measured_film(folder: Path, *, blank: bool, every_s: float, at_once: int | None = None) -> MeasuredFilm:
    """Measure a film as its folder has it."""
    return measure_film(
        folder / "film.mp4",
        patch=folder / "patch.toml",
        blank=folder / "blank.jpg" if blank else None,
        debris=[path for path in folder.glob("*.toml") if path.name != "patch.toml"],
        every_s=every_s,
        at_once=at_once,
    )


def accuracy(folder: Path, name: str, every_s: float) -> bool:
    """Print errors of a film with and without blank; whether they hold the bars."""
    good = True
    for blank in (True, False):
        start, busy = time.perf_counter(), time.process_time()
        measured = measured_film(folder, blank=blank, every_s=every_s)
        seconds, busy = time.perf_counter() - start, time.process_time() - busy
        errors, off = np.abs(curve_errors(measured, folder)), track_errors(measured, folder)
        frames = len(measured.track.times_s)
        true = np.interp(measured.times_s, *truth_of(folder)[:2])
        print(
            f"{name}, {'with' if blank else 'without'} blank: curve {errors.max():.2f} points at worst, "
            f"{np.median(errors):.2f} median of {len(errors)}; {inside(measured.left['patch'], true)}; track {off.max(initial=0):.1f} mm at worst, "
            f"{np.median(off) if len(off) else np.nan:.1f} median of {len(off)} places in {frames} frames; "
            f"{frames / seconds:.1f} frames a second ({frames / busy:.1f} a second of processor time)",
            flush=True,
        )
        print_kinds(measured, folder)
        good &= bool(errors.max() <= CURVE_POINTS and len(off) > 0 and off.max() <= TRACK_MM)
    return good


def repeated(folder: Path, out: Path, seconds: float) -> Path:
    """A film of that length whose middle goes to and fro, for memory alone: a frame in five, to be drawn quickly."""
    source = cv2.VideoCapture(str(folder / "film.mp4"))
    frames: list[np.ndarray] = []
    while len(frames) < 300 and source.grab():
        if int(source.get(cv2.CAP_PROP_POS_FRAMES)) % 5 == 0:
            frames.append(cv2.imencode(".jpg", source.retrieve()[1])[1])
    out.mkdir(parents=True, exist_ok=True)
    for name in ("patch.toml", "blank.jpg", *(p.name for p in folder.glob("*.toml"))):
        (out / name).write_bytes((folder / name).read_bytes())
    size = round(source.get(cv2.CAP_PROP_FRAME_WIDTH)), round(source.get(cv2.CAP_PROP_FRAME_HEIGHT))
    writer = cv2.VideoWriter(str(out / "film.mp4"), cv2.VideoWriter.fourcc(*"mp4v"), 5.0, size)
    order = [*range(len(frames)), *range(len(frames) - 2, 0, -1)]
    for number in range(round(5 * seconds)):
        writer.write(np.asarray(cv2.imdecode(frames[order[number % len(order)]], cv2.IMREAD_COLOR)))
    writer.release()
    return out


def peak_mib(folder: Path) -> float:
    """Peak memory of a process that measures a film, MiB."""
    done = subprocess.run(
        [sys.executable, __file__, "--memory-of", str(folder)], capture_output=True, text=True, check=True
    )
    return float(done.stdout.split()[-1])


def main() -> int:
    """Draw the films, measure them, print how well."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--keep", type=Path)
    options.add_argument("--only")
    options.add_argument("--quick", action="store_true")
    options.add_argument("--every", type=float, default=2.0)
    options.add_argument("--minutes", type=float, default=10.0)
    options.add_argument("--memory-of", type=Path, help=argparse.SUPPRESS)
    given = options.parse_args()
    if given.memory_of is not None:
        measured_film(given.memory_of, blank=True, every_s=2.0)
        print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024)
        return 0
    good = True
    with tempfile.TemporaryDirectory() as scratch:
        home = given.keep or Path(scratch)
        chosen = {name: spec for name, spec in films().items() if given.only is None or given.only in name}
        for name, spec in list(chosen.items())[: 2 if given.quick else None]:
            folder = home / name.replace(" ", "-").replace(",", "")
            if not folder.exists():
                write_film(draw_film(spec), folder)
            good &= accuracy(folder, name, given.every)
        whole = home / next(iter(chosen)).replace(" ", "-").replace(",", "")
        print(f"one stretch at a time takes {spread_ratio(whole, given.every):.2f} times as long as all cores")
        if given.minutes > 0:
            first = home / next(iter(chosen)).replace(" ", "-").replace(",", "")
            short, long = (repeated(first, home / f"{m:g}-minutes", 60 * m) for m in (1.0, given.minutes))
            peaks = [peak_mib(folder) for folder in (short, long)]
            print(f"peak memory: {peaks[0]:.0f} MiB for 1 minute, {peaks[1]:.0f} MiB for {given.minutes:g} minutes")
            good &= max(peaks) <= MEMORY_MIB and peaks[1] - peaks[0] <= GROWTH_MIB
    return 0 if good else 1


if __name__ == "__main__":
    sys.exit(main())
