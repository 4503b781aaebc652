"""Zones by photo and by photo and scale together, on the photo sets: is the best figure nearer to the truth?

    python tests/benchmarks/reconciled.py [--scene NAME] [--u 0.2]

The scale is made up: the patch's true pickup by mass, off by a standard uncertainty of ``--u`` points. It knows the
patch alone; zones gain only by what `debriscount.run.weighed.best_pickups` passes on to them.
"""

import argparse
import statistics
import sys
from typing import TYPE_CHECKING

import numpy as np

import debriscount
from debriscount.run.weighed import best_pickups, photo_pickup
from debriscount.stats.quantity import Quantity

if TYPE_CHECKING:
    from tests.benchmarks.scenes import ABSENT, Scene, load_scenes, photos_folder
    from tests.benchmarks.truth import pickup_percent, true_amounts
else:
    from scenes import ABSENT, Scene, load_scenes, photos_folder
    from truth import pickup_percent, true_amounts

#: Least share of the best figures' 95 % intervals that hold the truth, percent.
LEAST_HELD = 90.0


def zone_errors(scene: Scene, u: float, rng: np.random.Generator) -> list[tuple[str, float, float, bool]]:
    """Zone, error of photo and of best, points, and whether the best's interval holds the truth; the last pass."""
    run = debriscount.measure(scene.patch, scene.before, scene.afters, blank=scene.blank, debris=scene.debris)
    last, photo = run.passes[-1], photo_pickup(run.passes[-1])
    before, after = (
        {zone: amount.mass_mg for zone, amount in true_amounts(scene.particles, number).items()}
        for number in (0, last.number)
    )
    truth = pickup_percent(before, after)
    whole = truth["patch"]
    if photo is None or whole is None:
        return []
    alone = best_pickups(last, photo, Quantity(photo.value, 1e6))  # a scale that says nothing leaves the photo's
    best = best_pickups(last, photo, Quantity(whole + float(rng.normal(0, u)), u))
    rows = []
    for zone, pickup in best.items():
        true = truth.get(zone)
        if true is not None:
            low, high = pickup.interval95
            rows.append((zone, alone[zone].percent - true, pickup.percent - true, low <= true <= high))
    return rows


def main(argv: list[str] | None = None) -> int:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--scene")
    parser.add_argument("--u", type=float, default=0.2)
    options = parser.parse_args(argv)
    folder = photos_folder()
    if folder is None:
        print(ABSENT)
        return 0
    rng = np.random.default_rng(1415)
    zones = []
    for scene in load_scenes(folder, options.scene):
        for zone, photo, best, held in zone_errors(scene, options.u, rng):
            print(f"{scene.name:28} {zone:7} photo {photo:+6.2f}  best {best:+6.2f}  {'held' if held else 'MISSED'}")
            zones += [(photo, best, held)] if zone != "patch" else []
    if not zones:
        return 0
    photo_median, best_median = (statistics.median(abs(row[k]) for row in zones) for k in (0, 1))
    share = 100 * sum(row[2] for row in zones) / len(zones)
    print(f"zones, median error, points: photo {photo_median:.2f}, best {best_median:.2f}")
    print(f"95 % intervals of the best figure that hold the truth: {share:.0f} % of {len(zones)}")
    return int(share < LEAST_HELD or best_median > photo_median)


if __name__ == "__main__":
    sys.exit(main())
