"""How far area mass and counts carry from floor to floor: simulated portions of three kinds on five floors."""

import argparse
import sys

import numpy as np

import debriscount
from debriscount.inputs.debris import DebrisKind
from debriscount.layout.lay_patch import lay_patch
from debriscount.simulate.scene import make_scene
from debriscount.simulate.spec import Camera, Floor, Portion, SceneSpec

#: Kind, form of its grains, height over width, and width of the patch (three to two) at 1.8 megapixels, mm.
KINDS = (
    (DebrisKind("red lentils", (212, 100, 49), (4.14, 5.58)), "round", 0.45, 300.0),
    (DebrisKind("light rice", (224, 214, 194), (2.82, 3.87)), "long", 0.8, 300.0),
    (DebrisKind("dark crumbs", (57, 35, 23), (0.53, 1.27)), "irregular", 0.8, 150.0),
)
FLOORS = {
    "planks": Floor("planks"),
    "dark planks": Floor("planks", (62, 52, 46)),  # as dark as the crumbs, which hardly show there
    "tile": Floor("tile"),
    "carpet": Floor("carpet"),
    "white": Floor("plain", (236, 234, 229)),
}


def over_true(
    kind: DebrisKind, shape: str, height: float, width_mm: float, floor: Floor, seed: int
) -> tuple[float, float]:
    """Area and count in the patch over the true ones."""
    spec = SceneSpec(
        patch=lay_patch(width_mm, width_mm * 2 / 3, ()),
        portions=(Portion(kind, cover_share=0.04, shape=shape, height_share=height),),
        floor=floor,
        camera=Camera(megapixels=1.8),
        passes=(),
        seed=seed,
    )
    made = make_scene(spec)
    counted = debriscount.count(made.pixels("before"), patch=spec.patch, blank=made.pixels("blank"), debris=[kind])
    seen, true = counted.zones["patch"], made.truth.amounts(0)["patch"]
    return seen.area_mm2 / true.area_mm2, seen.grains / true.grains


def main() -> int:
    """Run and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--runs", type=int, default=2, help="portions of each kind on each floor")
    options = parser.parse_args()
    print(f"{'kind':14}" + "".join(f"{name:>24}" for name in FLOORS) + "   spread")
    for kind, shape, height, width in KINDS:
        table = np.array(
            [
                np.mean([over_true(kind, shape, height, width, floor, 1 + s) for s in range(options.runs)], axis=0)
                for floor in FLOORS.values()
            ]
        )
        spread = 100 * table.std(axis=0, ddof=1) / table.mean(axis=0)
        cells = "".join(f"{f'area {a:.3f} count {n:.3f}':>24}" for a, n in table)
        print(f"{kind.name:14}{cells}   area {spread[0]:.1f} % count {spread[1]:.1f} %", flush=True)
    return 0


if __name__ == "__main__":
    sys.exit(main())
