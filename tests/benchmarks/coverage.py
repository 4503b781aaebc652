"""Do the 95 % intervals hold the truth? Simulated runs over floors, debris, loads, pickups, cameras and light.

    python tests/benchmarks/coverage.py [--runs 200] [--first 0] [--json FILE]

Prints bias, spread, root mean square error over stated uncertainty, and how often the interval holds the true pickup,
overall and by factor. Exits with 1 if the intervals of the patch hold the truth in less than 90 or more than 99 % of
the runs.
"""

import argparse
import json
import sys
import tempfile
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import numpy as np

from debriscount.errors import DebriscountError
from debriscount.inputs.debris import DebrisKind
from debriscount.layout.lay_patch import lay_patch
from debriscount.simulate.scene import make_scene
from debriscount.simulate.spec import Camera, Cleaning, Floor, Imaging, Light, Portion, SceneSpec
from debriscount.simulate.write import write_scene

#: Debris and its shape: coarse to fine, light to dark, all of them invented.
DEBRIS = (
    (DebrisKind("lentils", (205, 100, 55), (4.3, 5.6)), "round"),
    (DebrisKind("rice", (226, 214, 190), (2.8, 3.9)), "long"),
    (DebrisKind("flakes", (207, 179, 136), (4.5, 7.5)), "irregular"),
    (DebrisKind("crumbs", (60, 38, 25), (0.8, 1.8)), "irregular"),
    (DebrisKind("blue beads", (45, 75, 185), (1.8, 2.4)), "round"),
    (DebrisKind("millet", (214, 178, 92), (1.7, 2.3)), "round"),
)
#: Floors on which a debris does not drown: its colour differs from the floor's own.
FLOORS = {
    "plain": (205, 205, 200),
    "planks": None,
    "tile": (120, 122, 124),
    "carpet": (84, 88, 98),
}
UNFIT = {("rice", "plain"), ("flakes", "planks"), ("millet", "planks"), ("flakes", "plain")}
LEAST, MOST = 90.0, 99.0


def random_spec(seed: int) -> SceneSpec:
    """One run; every factor is drawn from the seed alone."""
    r = np.random.default_rng([2026, seed])
    while True:
        kind, shape = DEBRIS[int(r.integers(len(DEBRIS)))]
        floor = str(r.choice(list(FLOORS)))
        if (kind.name, floor) not in UNFIT:
            break
    walls: tuple[str, ...] = ((), ("top",), ("top", "left"))[int(r.integers(3))]
    return SceneSpec(
        lay_patch(int(r.choice([300, 400, 500])), int(r.choice([300, 400])), walls),
        (Portion(kind, float(np.exp(r.uniform(np.log(0.01), np.log(0.08)))), shape=shape),),
        floor=Floor(floor, FLOORS[floor], contrast=float(r.uniform(0.5, 1.3))),
        passes=(
            Cleaning(
                heading_deg=float(r.choice([0.0, 90.0, 30.0])),
                pickup=float(r.uniform(0.6, 0.99)),
                width_mm=float(r.uniform(100, 145)),
                flung_share=float(r.choice([0.0, 0.01])),
            ),
        ),
        camera=Camera(
            megapixels=float(r.choice([4.0, 8.0])), tilt_deg=float(r.uniform(0, 15)), k1=float(r.uniform(-0.05, 0.03))
        ),
        light=Light(azimuth_deg=float(r.uniform(0, 360)), shadow=float(r.uniform(0.1, 0.45))),
        imaging=Imaging(
            bayer=bool(r.random() < 0.3),
            sharpen=float(r.uniform(0, 0.5)),
            denoise=float(r.uniform(0, 0.6)),
            jpeg_quality=int(r.integers(80, 97)),
            blur_px=float(r.uniform(0.5, 0.9)),
        ),
        blank=bool(r.random() < 0.6),
        seed=seed,
    )


def one_run(seed: int) -> dict[str, object]:
    """Make a run, measure it, and lay figures beside the truth."""
    from debriscount.run.measure import measure

    spec = random_spec(seed)
    scene = make_scene(spec)
    kind = spec.portions[0].kind
    row: dict[str, object] = {
        "seed": seed, "debris": kind.name, "floor": spec.floor.kind, "blank": spec.blank,
        "walls": len(spec.patch.walls), "megapixels": spec.camera.megapixels,
    }  # fmt: skip
    with tempfile.TemporaryDirectory() as folder:
        write_scene(scene, Path(folder) / "run")
        files = Path(folder) / "run"
        truth = json.loads((files / "truth.json").read_text(encoding="utf-8"))["passes"][0]["zones"]
        try:
            found = measure(
                files / "patch.toml",
                files / "before.jpg",
                [files / "after.jpg"],
                blank=files / "blank.jpg" if spec.blank else None,
                debris=[kind],
            )
        except DebriscountError as error:
            return {**row, "failed": str(error)}
    row["px"] = kind.size_mm[0] / found.grid.mm_per_px
    row["budget"] = {line.source: line.u_percent for line in found.budget}
    row["warnings"] = list(found.warnings)
    row["zones"] = {
        name: [
            z.pickup_percent,
            *(z.interval95 or (None, None)),
            truth[name]["pickup_by_area_percent"],
            z.before.grains,
        ]
        for name, z in found.passes[0].zones.items()
        if name != "margin" and z.pickup_percent is not None and truth[name]["pickup_by_area_percent"] is not None
    }
    return row


def held(rows: list[dict[str, object]], zone: str) -> tuple[int, float, float, float, float]:
    """Runs, mean error, standard deviation, rms of error over stated u, and share of intervals that hold the truth."""
    errors, scores, inside = [], [], []
    for row in rows:
        zones = row.get("zones")
        if not isinstance(zones, dict) or zone not in zones:
            continue
        value, low, high, true, _ = zones[zone]
        errors.append(value - true)
        scores.append((value - true) / max((high - low) / 3.92, 1e-6))
        inside.append(low <= true <= high)
    if not errors:
        return 0, np.nan, np.nan, np.nan, np.nan
    e = np.array(errors)
    return (
        len(e),
        float(e.mean()),
        float(e.std()),
        float(np.sqrt(np.mean(np.square(scores)))),
        100 * float(np.mean(inside)),
    )


def _size(row: dict[str, object]) -> str:
    return "under 5 px" if float(str(row.get("px", 0))) < 5 else "5 px and more"


def print_table(rows: list[dict[str, object]]) -> float:
    """Print the whole table; return the share of the patch's intervals that hold the truth, percent."""
    print(f"{'':24}{'runs':>5}{'bias':>8}{'sd':>7}{'rms/u':>7}{'held':>8}")
    for zone in ("patch", "open", "edge", "corner"):
        n, bias, sd, score, share = held(rows, zone)
        print(f"{zone:24}{n:5}{bias:+8.2f}{sd:7.2f}{score:7.2f}{share:7.1f}%")
    for title, key in (
        ("debris", lambda r: r["debris"]), ("floor", lambda r: r["floor"]),
        ("blank", lambda r: "blank" if r["blank"] else "no blank"), ("size", _size),
    ):  # fmt: skip
        for value in sorted({str(key(r)) for r in rows}):
            n, bias, sd, score, share = held([r for r in rows if str(key(r)) == value], "patch")
            print(f"{title + ' ' + value:24}{n:5}{bias:+8.2f}{sd:7.2f}{score:7.2f}{share:7.1f}%")
    failed = [r for r in rows if "failed" in r]
    print(f"failed {len(failed)}" + "".join(f"\n  seed {r['seed']}: {r['failed']}" for r in failed))
    budgets = [r["budget"] for r in rows if isinstance(r.get("budget"), dict)]
    names = sorted({name for b in budgets if isinstance(b, dict) for name in b})
    print("median budget, points: " + ", ".join(f"{n} {np.median([b[n] for b in budgets]):.2f}" for n in names))  # type: ignore[index]
    return held(rows, "patch")[4]


def main() -> int:
    """Run and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--runs", type=int, default=200)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--json", type=Path)
    options = parser.parse_args()
    seeds = range(options.first, options.first + options.runs)
    with ProcessPoolExecutor() as pool:
        rows = list(pool.map(one_run, seeds))
    if options.json:
        options.json.write_text(json.dumps(rows, indent=1), encoding="utf-8")
    share = print_table(rows)
    return 0 if LEAST <= share <= MOST else 1


if __name__ == "__main__":
    sys.exit(main())
