"""Measure every photo set of known truth and print the errors; exits 1 when a bar of `scores.BARS` is missed."""

import argparse
import json
import math
import sys
import time
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import asdict, replace
from pathlib import Path
from statistics import median
from typing import TYPE_CHECKING

import debriscount
from debriscount.errors import DebriscountError
from debriscount.pickup.records import Amount
from debriscount.run.records import Measurement

if TYPE_CHECKING:
    from tests.benchmarks.floor_scores import BARS as FLOOR_BARS
    from tests.benchmarks.floor_scores import HELD, floor_table, missed
    from tests.benchmarks.plain_script import MM_PER_PX, measure_plain
    from tests.benchmarks.scenes import ABSENT, DAILY, Scene, load_scenes, photos_folder
    from tests.benchmarks.scores import BARS, SceneScore, ShotScore, ZoneScore, missed_bars, summarise
    from tests.benchmarks.truth import TrueAmount, pickup_percent, true_amounts, untouched_percent
else:  # run as a script, this folder is where Python looks first
    from floor_scores import BARS as FLOOR_BARS
    from floor_scores import HELD, floor_table, missed
    from plain_script import MM_PER_PX, measure_plain
    from scenes import ABSENT, DAILY, Scene, load_scenes, photos_folder
    from scores import BARS, SceneScore, ShotScore, ZoneScore, missed_bars, summarise
    from truth import TrueAmount, pickup_percent, true_amounts, untouched_percent


def run_scene(scene: Scene, *, use_blank: bool, use_debris: bool) -> SceneScore:
    """Measure a scene and put it beside its truth; whatever goes wrong becomes the score's ``failure``."""
    start = time.perf_counter()
    try:
        measurement = debriscount.measure(
            scene.patch,
            scene.before,
            scene.afters,
            blank=scene.blank if use_blank else None,
            debris=scene.debris if use_debris else (),
        )
    except DebriscountError as error:
        return SceneScore(scene.name, time.perf_counter() - start, failure=str(error))
    return score_measurement(scene, measurement, time.perf_counter() - start)


def score_measurement(scene: Scene, measurement: Measurement, seconds: float) -> SceneScore:
    """Put a measurement beside the truth of its scene."""
    passes = measurement.passes
    amounts = {"before": {name: z.before for name, z in passes[0].zones.items()}}
    for shot, figures in zip(list(scene.shots)[1:], passes, strict=True):
        amounts[shot] = {name: z.after for name, z in figures.zones.items()}
    wanted = {marker.id for marker in measurement.patch.markers}
    missed_markers = [f"{shot.name} {i}" for shot in measurement.shots for i in sorted(wanted - {*shot.markers_seen})]
    pickups = [{name: z.pickup_percent for name, z in figures.zones.items()} for figures in passes]
    intervals = [{name: z.interval95 for name, z in figures.zones.items()} for figures in passes]
    still = [None if why is None else why.leftovers.zones["patch"].untouched_percent for why in measurement.left.passes]
    true = [untouched_percent(scene.particles, number) for number in range(1, len(passes) + 1)]
    score = _score(
        scene,
        seconds,
        amounts,
        pickups,
        intervals,
        mm_per_px=measurement.grid.mm_per_px,
        markers_missed=tuple(missed_markers),
        warnings=measurement.warnings,
    )
    return replace(score, untouched=tuple((m, t) for m, t in zip(still, true, strict=True) if t is not None))


def run_peer(scene: Scene, *, use_blank: bool, use_debris: bool, careful: bool) -> SceneScore:
    """Measure a scene with the plain script."""
    start = time.perf_counter()
    sizes = [tomllib.loads(file.read_text(encoding="utf-8"))["debris"]["size_mm"][0] for file in scene.debris]
    grain = min(sizes) if use_debris else None
    found = measure_plain(scene.patch, scene.shots, scene.blank if use_blank else None, grain, careful=careful)
    amounts = {s: {z: Amount(area, grains, None) for z, (grains, area) in zones.items()} for s, zones in found.items()}
    areas = {shot: {zone: a.area_mm2 for zone, a in zones.items()} for shot, zones in amounts.items()}
    pickups = [pickup_percent(areas["before"], areas[shot]) for shot in list(scene.shots)[1:]]
    return _score(scene, time.perf_counter() - start, amounts, pickups, mm_per_px=MM_PER_PX)


def _score(
    scene: Scene,
    seconds: float,
    amounts: Mapping[str, Mapping[str, Amount]],
    pickups: Sequence[Mapping[str, float | None]],
    intervals: Sequence[Mapping[str, tuple[float, float] | None]] = (),
    *,
    mm_per_px: float,
    markers_missed: tuple[str, ...] = (),
    warnings: tuple[str, ...] = (),
) -> SceneScore:
    truth = [true_amounts(scene.particles, number) for number in range(len(scene.shots))]
    zones = []
    for number, (shot, pickup) in enumerate(zip(list(scene.shots)[1:], pickups, strict=True), start=1):
        interval = intervals[number - 1] if intervals else {}
        by_area = pickup_percent(_areas(truth[0]), _areas(truth[number]))
        by_mass = pickup_percent(_masses(truth[0]), _masses(truth[number]))
        mass: Mapping[str, float | None] | None = _mass_pickup(amounts["before"], amounts[shot])
        if mass is None and len(scene.kinds) == 1:
            mass = pickup  # of one kind, area and mass go in proportion
        for zone, amount in truth[0].items():
            if zone == "margin" or amount.grains == 0:
                continue
            measured_mass = mass.get(zone) if mass else None
            zones.append(
                ZoneScore(
                    number,
                    zone,
                    amount.grains,
                    pickup.get(zone),
                    by_area[zone],
                    measured_mass,
                    by_mass[zone],
                    interval.get(zone),
                )
            )
    shots = [
        ShotScore(
            name,
            a["patch"].grains,
            t["patch"].grains,
            a["patch"].area_mm2,
            t["patch"].area_mm2,
            a["patch"].told_grains is not None,
        )
        for (name, a), t in zip(amounts.items(), truth, strict=True)
    ]
    widths = [2 * math.sqrt(float(row["area_mm2"]) / math.pi) for row in scene.particles]
    return SceneScore(
        scene.name,
        seconds,
        len(scene.kinds),
        median(widths) / mm_per_px,
        markers_missed,
        tuple(zones),
        tuple(shots),
        warnings=warnings,
    )


def _areas(amounts: Mapping[str, TrueAmount]) -> dict[str, float]:
    return {zone: amount.area_mm2 for zone, amount in amounts.items()}


def _masses(amounts: Mapping[str, TrueAmount]) -> dict[str, float]:
    return {zone: amount.mass_mg for zone, amount in amounts.items()}


def _mass_pickup(before: Mapping[str, Amount], after: Mapping[str, Amount]) -> dict[str, float | None] | None:
    start = {zone: amount.mass_g for zone, amount in before.items()}
    end = {zone: amount.mass_g for zone, amount in after.items()}
    if None in start.values() or None in end.values():
        return None
    return pickup_percent({z: m or 0.0 for z, m in start.items()}, {z: m or 0.0 for z, m in end.items()})


def print_scene(score: SceneScore, peer: SceneScore | None = None) -> None:
    """Print what was measured, what is true, and the peer's error."""
    print(f"\n{score.scene}: {score.seconds:.1f} s")
    if score.failure:
        print(f"  FAILED: {score.failure}")
        return
    if score.markers_missed:
        print(f"  markers missed: {', '.join(score.markers_missed)}")
    head = f"  {'pass':<5}{'zone':<7}{'grains':>7}{'by area':>9}{'true':>7}{'error':>7}{'by mass':>9}{'true':>7}{'error':>7}"
    print(head + (f"{'plain':>9}{'error':>7}" if peer else ""))
    for k, z in enumerate(score.zones):
        line = f"  {z.number:<5}{z.zone:<7}{z.true_grains:>7}{_num(z.area):>9}{_num(z.true_area):>7}{_err(z.area_error):>7}"
        line += f"{_num(z.mass):>9}{_num(z.true_mass):>7}{_err(z.mass_error if z.mass is not None else None):>7}"
        print(line + (f"{_num(peer.zones[k].area):>9}{_err(peer.zones[k].area_error):>7}" if peer else ""))
    for k, s in enumerate(score.shots):
        line = f"  {s.shot:<12} grains {s.grains:>6} of {s.true_grains:>6} ({_off(s.grains, s.true_grains):+6.1f} %)"
        line += f"   area over true {_share(s.area_mm2, s.true_area_mm2):6.3f}"
        if peer:
            p = peer.shots[k]
            line += f"   plain {_off(p.grains, p.true_grains):+6.1f} %, {_share(p.area_mm2, p.true_area_mm2):6.3f}"
        print(line)
    for warning in score.warnings:
        print(f"  warning: {warning}")


def _num(value: float | None) -> str:
    return "-" if value is None else f"{value:.2f}"


def _err(value: float | None) -> str:
    return "-" if value is None else f"{value:+.2f}"


def _off(measured: float, true: float) -> float:
    return 100 * (measured / true - 1) if true else math.inf


def print_summary(scores: Sequence[SceneScore], peers: Sequence[SceneScore], bars: Mapping[str, float]) -> list[str]:
    """Print every line of the summary beside its bar; return the lines that miss theirs."""
    summary, plain = summarise(scores), summarise(peers)
    missed = missed_bars(summary, bars)
    print(f"\n{'summary':<34}{'value':>8}{'bar':>8}" + ("   plain" if peers else ""))
    for line, value in summary.items():
        bar = f"{bars[line]:g}" if line in bars else ""
        rest = f"{_num(plain[line]):>8}" if peers else ""
        print(f"{line:<34}{_num(value):>8}{bar:>8}{rest}" + ("   MISSED" if line in missed else ""))
    if peers:
        _print_better(scores, peers)
    return missed


def _print_better(scores: Sequence[SceneScore], peers: Sequence[SceneScore]) -> None:
    worse = set()
    for score, peer in zip(scores, peers, strict=True):
        ours, theirs = (
            [abs(z.area_error) for z in s.zones if z.zone == "patch" and z.area_error is not None]
            for s in (score, peer)
        )
        if score.failure or any(a >= b for a, b in zip(ours, theirs, strict=True)):
            worse.add(score.scene)
    verdict = "yes" if not worse else f"no: not in {', '.join(sorted(worse))}"
    print(f"nearer to the truth of the patch by area than the plain script in every scene and pass: {verdict}")


def print_floors(scores: Sequence[SceneScore], peers: Sequence[SceneScore]) -> list[str]:
    """Print the table for floors that nobody tuned to; return the lines that miss their bar."""
    table = floor_table(scores, peers)
    late = missed(table)
    passes = sum(z.zone == "patch" for s in scores for z in s.zones)
    print(f"\n{f'other floors, {len(scores)} sets, {passes} passes':<46}{'value':>8}{'bar':>10}")
    for line, value in table.items():
        bar = f"{FLOOR_BARS[line]:g}" if line in FLOOR_BARS else ""
        bar = "{:g} to {:g}".format(*HELD[line]) if line in HELD else bar
        print(f"{line:<46}{_num(value):>8}{bar:>10}" + ("   MISSED" if line in late else ""))
    return late


def _share(area: float, true: float) -> float:
    """NaN where nothing is left."""
    return area / true if true else math.nan


def _arguments(argv: Sequence[str] | None) -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--no-blank", action="store_true", help="leave out the photo of the clean floor")
    parser.add_argument("--no-debris", action="store_true", help="leave out the debris files")
    parser.add_argument("--scene", metavar="NAME", help="only this one")
    parser.add_argument(
        "--floors",
        metavar="WHICH",
        help="instead of the eight sets: 'daily' (eight of the sets of all sorts), 'all' of them, or a folder of renders",
    )
    parser.add_argument("--bars", choices=sorted(BARS), default="now")
    parser.add_argument(
        "--peer",
        nargs="?",
        const="careful",
        choices=("careful", "literal"),
        help="run the plain script beside it, which allows for changed light (careful) or takes photos as they come",
    )
    parser.add_argument("--json", metavar="FILE", type=Path, help="write all figures into a file")
    return parser.parse_args(argv)


def main(argv: Sequence[str] | None = None) -> int:
    """Run the benchmark; the exit code."""
    options = _arguments(argv)
    folder = photos_folder()
    if folder is None:
        print(ABSENT)
        return 0
    if options.floors:
        folder = folder / "wide" if options.floors in ("daily", "all") else Path(options.floors)
    scenes = load_scenes(folder, options.scene)
    if options.floors == "daily":
        scenes = [scene for scene in scenes if scene.name in DAILY]
    if not scenes:
        print(f"no scene called {options.scene!r}" if options.scene else "the folder of photo sets is empty")
        return 2
    use = {"use_blank": not options.no_blank, "use_debris": not options.no_debris}
    scores, peers = [], []
    for scene in scenes:
        scores.append(run_scene(scene, **use))
        if options.peer:
            peers.append(run_peer(scene, **use, careful=options.peer == "careful"))
        print_scene(scores[-1], peers[-1] if options.peer else None)
    late = print_floors(scores, peers) if options.floors else print_summary(scores, peers, BARS[options.bars])
    if options.json:
        record = {
            "scenes": [asdict(s) for s in scores],
            "plain": [asdict(s) for s in peers],
            "summary": floor_table(scores, peers) if options.floors else summarise(scores),
        }
        options.json.write_text(json.dumps(record, indent=1) + "\n", encoding="utf-8")
    return 1 if late else 0


if __name__ == "__main__":
    sys.exit(main())
