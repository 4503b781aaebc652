"""Why it stayed: untouched shares, lanes and reach against the truth of photo sets and simulated runs.

    python tests/benchmarks/leftovers.py [--runs 100] [--free 50] [--first 0] [--json FILE]

Takes the rendered photo sets where they are at hand, ``--runs`` simulated runs whose machine drives in lanes and
``--free`` whose machine leaves no strips (it wanders, winds, overlaps its lanes or goes everywhere). Prints every run,
then a line for each bar; exits with 1 if one is missed.
"""

import argparse
import json
import sys
import tempfile
import time
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from statistics import median
from typing import TYPE_CHECKING, Any

import numpy as np

import debriscount
from debriscount.errors import DebriscountError
from debriscount.run import explained as explained_module
from debriscount.run import measure as run
from debriscount.run.records import Measurement
from debriscount.simulate.scene import make_scene
from debriscount.simulate.spec import Cleaning, SceneSpec
from debriscount.simulate.write import write_scene

if TYPE_CHECKING:
    from tests.benchmarks import coverage
    from tests.benchmarks.scenes import ABSENT, Scene, load_scenes, photos_folder
    from tests.benchmarks.truth import INSIDE
else:  # run as a script, this folder is where Python looks first
    import coverage
    from scenes import ABSENT, Scene, load_scenes, photos_folder
    from truth import INSIDE

#: Strips narrower than this can hold no row of grains of most kinds: they count as none for what must be found.
LEAST_STRIP_MM = 8.0
#: Share of the simulated runs whose lanes must be within the bars: with few, large grains none can be, and the standard
#: uncertainties say so.
MOST_LANES = 0.95


@dataclass(frozen=True)
class Truth:
    """What is so after a pass: percent, degrees and mm; ``strip_mm`` is 0 or less where lanes meet, None without lanes."""

    untouched: float | None
    reached: float
    pickup: float
    heading: float | None
    pitch: float | None
    strip: float | None


@dataclass(frozen=True)
class Score:
    """A pass measured beside its truth; ``share`` of the time that what this is about took of the whole."""

    name: str
    number: int
    truth: Truth
    untouched: float | None
    reached: float | None
    reached95: tuple[float, float] | None
    pickup_there: float | None
    lanes: tuple[float, float | None, float, int | None] | None
    share: float

    @property
    def untouched_error(self) -> float | None:
        """Percentage points."""
        unknown = self.untouched is None or self.truth.untouched is None
        return None if unknown else float(self.untouched) - float(self.truth.untouched)  # type: ignore[arg-type]

    @property
    def there_error(self) -> float | None:
        """Error of the pickup where reached, percentage points."""
        if self.pickup_there is None or not self.truth.reached:
            return None
        return self.pickup_there - 100 * self.truth.pickup / self.truth.reached


def lanes_spec(seed: int) -> SceneSpec:
    """A run in lanes: floor, debris, camera and light as `coverage` draws them, the machine drawn here."""
    spec, r = coverage.random_spec(seed), np.random.default_rng([6, seed])
    pitch = float(r.uniform(95, 170))
    return replace(
        spec,
        passes=(
            Cleaning(
                heading_deg=float(r.choice([0.0, 90.0, r.uniform(0, 180)])),
                pitch_mm=pitch,
                width_mm=pitch - float(r.uniform(5, 40)),
                offset_mm=float(r.uniform(0, pitch)),
                pickup=float(r.uniform(0.75, 0.98)),
                edge_pickup=float(r.uniform(0.4, 0.8)),
                corner_pickup=float(r.uniform(0.2, 0.5)),
                displaced_share=float(r.uniform(0.1, 0.6)),
                displaced_mm=float(r.uniform(10, 40)),
                flung_share=float(r.choice([0.0, 0.01])),
                wobble_mm=float(r.choice([0.0, 2.0])),
            ),
        ),
    )


def free_spec(seed: int) -> SceneSpec:
    """A run without strips between lanes."""
    spec, r = lanes_spec(seed), np.random.default_rng([7, seed])
    (lanes,) = spec.passes
    path = ("wander", "spiral", "everywhere", "lanes")[seed % 4]
    width = lanes.pitch_mm + float(r.uniform(1, 20))
    gap = float(r.choice([0.0, 15.0]))
    other = replace(
        lanes, path=path, width_mm=width, wobble_mm=0.0, reach_share=float(r.uniform(0.6, 0.95)), wall_gap_mm=gap
    )
    return replace(spec, passes=(other,))


def simulated(task: tuple[str, int]) -> list[Score]:
    """Scores of one simulated run; none if it could not be measured, which is printed."""
    what, seed = task
    spec = lanes_spec(seed) if what == "lanes" else free_spec(seed)
    scene = make_scene(spec)
    kind = spec.portions[0].kind
    name = f"{what}-{seed:03d} {kind.name} on {spec.floor.kind}"
    truth = scene.truth
    (cleaning,) = spec.passes
    strips = cleaning.path == "lanes"
    with tempfile.TemporaryDirectory() as folder:
        files = Path(folder) / "run"
        write_scene(scene, files)
        blank = files / "blank.jpg" if spec.blank else None
        try:
            found, share = measured(files / "patch.toml", files / "before.jpg", [files / "after.jpg"], blank, [kind])
        except DebriscountError as error:
            print(f"{name}: {error}", flush=True)
            return []
    inside = np.isin(truth.zone_codes(0), (0, 1, 2))
    area = truth.grains.area_mm2 * inside
    left = truth.leftovers_percent(1)
    pickup = truth.pickup_percent(1)["patch"]
    so = Truth(
        None if left is None else left[0],
        100 * float(area[truth.reached[0]].sum() / area.sum()),
        float(pickup if pickup is not None else np.nan),
        cleaning.heading_deg % 180 if strips else None,
        cleaning.pitch_mm if strips else None,
        cleaning.pitch_mm - cleaning.width_mm if strips else None,
    )
    return [scored(name, found, 1, so, share)]


def measured(
    patch: Path, before: Path, afters: Sequence[Path], blank: Path | None, debris: Sequence[Any]
) -> tuple[Measurement, float]:
    """Measure, and tell which share of the time went into why debris stayed."""
    plain, spent = explained_module.explained, 0.0

    def timed(*args: Any, **more: Any) -> Any:
        nonlocal spent
        start = time.perf_counter()
        try:
            return plain(*args, **more)
        finally:
            spent += time.perf_counter() - start

    run.explained = timed  # type: ignore[attr-defined]
    try:
        start = time.perf_counter()
        found = debriscount.measure(patch, before, list(afters), blank=blank, debris=debris)
        whole = time.perf_counter() - start
    finally:
        run.explained = plain  # type: ignore[attr-defined]
    return found, spent / (whole - spent)


def scored(name: str, found: Measurement, number: int, truth: Truth, share: float) -> Score:
    """Lay a pass's figures beside the truth."""
    why = found.left.why(number)
    assert why is not None
    reach = None if why.reach is None else why.reach.zones["patch"]
    lanes = why.lanes
    return Score(
        name,
        number,
        truth,
        why.leftovers.zones["patch"].untouched_percent,
        None if reach is None else reach.share_percent,
        None if reach is None else reach.interval95,
        None if reach is None else reach.pickup_percent,
        None if lanes is None else (lanes.heading_deg, lanes.pitch_mm, lanes.strip_mm, lanes.lanes),
        share,
    )


def photo_scores(scene: Scene) -> list[Score]:
    """Scores of every pass of a photo set."""
    found, share = measured(scene.patch, scene.before, scene.afters, scene.blank, scene.debris)
    lanes = json.loads((scene.patch.parent / "truth.json").read_text(encoding="utf-8"))["cleaning"]
    return [
        scored(scene.name, found, n, photo_truth(scene.particles, n, cleaning), share)
        for n, cleaning in enumerate(lanes, start=1)
    ]


def photo_truth(particles: Sequence[dict[str, str]], number: int, cleaning: dict[str, Any]) -> Truth:
    """Truth of a pass from the grains of a photo set and the lanes that made it.

    Untouched is what no pass so far moved; reach and pickup there are of what the pass found.
    """
    start, end = "zone_before" if number == 1 else f"zone_pass{number - 1}", f"zone_pass{number}"
    x, y = ("x_mm", "y_mm") if number == 1 else (f"x{number - 1}_mm", f"y{number - 1}_mm")
    found = [row for row in particles if row[start] in INSIDE]
    left = [row for row in particles if row[end] in INSIDE]
    still = [row for row in left if all(row[f"fate_pass{n + 1}"] == "untouched" for n in range(number))]
    heading = np.deg2rad(cleaning["heading_deg"])
    across = np.array([-float(r[x]) * np.sin(heading) + float(r[y]) * np.cos(heading) for r in found])
    off = across - cleaning["offset_mm"]
    pitch, width = float(cleaning["pitch_mm"]), float(cleaning["width_mm"])
    reached = np.abs(off - pitch * np.round(off / pitch)) < width / 2
    area = np.array([float(r["area_mm2"]) for r in found])
    lost = [r for r in particles if r[end] == "margin" and r[start] != "margin"]
    after = _area(left) + _area(lost)
    return Truth(
        100 * _area(still) / _area(left),
        100 * float(area[reached].sum() / area.sum()),
        100 * (1 - after / float(area.sum())),
        float(cleaning["heading_deg"]) % 180,
        pitch,
        pitch - width,
    )


def _area(rows: Sequence[dict[str, str]]) -> float:
    return sum(float(row["area_mm2"]) for row in rows)


def lane_errors(score: Score) -> tuple[float, float | None, float] | None:
    """Errors of heading (degrees), pitch (percent) and strip width (mm); None where lanes are not seen."""
    truth = score.truth
    if score.lanes is None or truth.heading is None or truth.pitch is None or truth.strip is None:
        return None
    heading, pitch, strip, _ = score.lanes
    turned = (heading - truth.heading + 90) % 180 - 90
    return turned, None if pitch is None else 100 * (pitch / truth.pitch - 1), strip - truth.strip


def print_score(score: Score) -> None:
    """One line."""
    errors, truth = lane_errors(score), score.truth
    strip = "no lanes" if truth.strip is None else f"strip {truth.strip:5.1f}"
    lanes = "no lanes seen"
    if score.lanes is not None:
        lanes = "lanes " + " ".join("-" if v is None else f"{v:.1f}" for v in score.lanes)
    if errors is not None:
        lanes += " off by " + " ".join("-" if e is None else f"{e:+.1f}" for e in errors)
    print(
        f"{score.name[:40]:40} {score.number}  untouched {_text(truth.untouched)} {_text(score.untouched_error, '+')}  "
        f"reached {_text(truth.reached)} {_text(score.reached)}  there {_text(score.there_error, '+')}  {strip}  {lanes}  "
        f"time +{100 * score.share:.0f} %",
        flush=True,
    )


def _text(value: float | None, sign: str = "") -> str:
    return "    -" if value is None else f"{value:{sign}5.1f}"


def print_bars(photos: Sequence[Score], lanes: Sequence[Score], free: Sequence[Score]) -> bool:
    """Print a line for each bar; whether all are met."""
    met = []
    for name, scores, middle, worst in (("photo sets", photos, 3.0, 8.0), ("simulated", [*lanes, *free], 2.0, None)):
        errors = [abs(s.untouched_error) for s in scores if s.untouched_error is not None]
        if errors:
            met.append(median(errors) <= middle and (worst is None or max(errors) <= worst))
            print(
                f"untouched share, {name}, {len(errors)} passes: median {median(errors):.2f}, worst {max(errors):.2f}"
            )
    for name, scores in (("photo sets", photos), ("simulated lanes", lanes), ("simulated others", free)):
        there = [abs(s.there_error) for s in scores if s.there_error is not None]
        held = [s.reached95[0] <= s.truth.reached <= s.reached95[1] for s in scores if s.reached95 is not None]
        if there:
            met.append(median(there) <= 1.5)
            share = 100 * float(np.mean(held))
            print(
                f"pickup where reached, {name}, {len(there)}: median {median(there):.2f}, worst {max(there):.2f}; "
                f"intervals of the share reached hold it in {share:.0f} %"
            )
    for name, scores, share in (("photo sets", photos, 1.0), ("simulated lanes", lanes, MOST_LANES)):
        wide = [s for s in scores if s.truth.strip is not None and s.truth.strip >= LEAST_STRIP_MM]
        seen = [(s, e) for s in wide if (e := lane_errors(s)) is not None]
        if not wide:
            continue
        good = [
            abs(turned) <= 2
            and (pitch is None or abs(pitch) <= 4)
            and abs(strip) <= max(3.0, 0.15 * float(s.truth.strip or 0.0))
            for s, (turned, pitch, strip) in seen
        ]
        met.append(sum(good) >= share * len(good))
        off = np.abs([[float(e or 0.0) for e in three] for _, three in seen]) if seen else np.full((1, 3), np.nan)
        usual, worst = np.median(off, axis=0), off.max(axis=0)
        print(
            f"lanes, {name} with strips of {LEAST_STRIP_MM:g} mm and more: seen in {len(seen)} of {len(wide)}, "
            f"{sum(good)} within the bars; medians {usual[0]:.2f} deg {usual[1]:.2f} % {usual[2]:.2f} mm, "
            f"worst {worst[0]:.2f} deg {worst[1]:.2f} % {worst[2]:.2f} mm"
        )
    none = [s for s in [*photos, *free] if s.truth.strip is None or s.truth.strip <= 0]
    false = [s.name for s in none if s.lanes is not None]
    met.append(not false)
    print(f"lanes reported where there are none: {len(false)} of {len(none)} {false or ''}")
    shares = [s.share for s in [*photos, *lanes, *free]]
    if shares:
        met.append(median(shares) < 0.25)
        print(
            f"on top of the time that measuring takes: median {100 * median(shares):.1f} %, most {100 * max(shares):.1f} %"
        )
    return all(met)


def main(argv: Sequence[str] | None = None) -> int:
    """Run the benchmark; the exit code."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--runs", type=int, default=100)
    parser.add_argument("--free", type=int, default=50)
    parser.add_argument("--first", type=int, default=0, help="first seed")
    parser.add_argument("--json", type=Path, metavar="FILE")
    options = parser.parse_args(argv)
    folder = photos_folder()
    if folder is None:
        print(ABSENT)
    photos = [] if folder is None else [score for scene in load_scenes(folder) for score in photo_scores(scene)]
    for score in photos:
        print_score(score)
    tasks = [("lanes", options.first + i) for i in range(options.runs)]
    tasks += [("free", options.first + i) for i in range(options.free)]
    lanes: list[Score] = []
    free: list[Score] = []
    with ProcessPoolExecutor() as pool:
        for (what, _), scores in zip(tasks, pool.map(simulated, tasks), strict=True):
            (lanes if what == "lanes" else free).extend(scores)
            for score in scores:
                print_score(score)
    if options.json:
        rows = [asdict(s) for s in [*photos, *lanes, *free]]
        options.json.write_text(json.dumps(rows, indent=1) + "\n", encoding="utf-8")
    return 0 if print_bars(photos, lanes, free) else 1


if __name__ == "__main__":
    sys.exit(main())
