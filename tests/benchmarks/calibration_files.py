"""Make the debris files in calibration/debris/ whose portions are simulated, as `debriscount portion` makes them.

Prints what was learned beside what the grains were drawn with. The same library versions make the same files.
"""

import argparse
import sys
import tempfile
from dataclasses import dataclass, replace
from pathlib import Path

from debriscount.inputs.debris import DebrisKind
from debriscount.layout.lay_patch import lay_patch
from debriscount.portions.calibrate import calibrate, write_calibration
from debriscount.portions.records import PortionCalibration
from debriscount.report.portion import calibration_text
from debriscount.simulate.scene import make_scene
from debriscount.simulate.spec import Camera, Floor, Portion, SceneSpec, Strewing
from debriscount.stats.quantity import Quantity

#: Day that the files name; they do not depend on it.
DATE = "2026-11-25"
PATCH = lay_patch(400, 300, ())
CAMERA = Camera(megapixels=4.0)
#: Grams and the share of grains in heaps: light and heavy, thinly strewn and heaped, one weight repeated.
PORTIONS = ((5.0, 0.0), (10.0, 0.0), (10.0, 0.0), (20.0, 0.0), (10.0, 0.8), (20.0, 0.8))


@dataclass(frozen=True, slots=True)
class Made:
    """A kind as it is drawn, with the area mass of its silhouettes, and on which floor."""

    file: str
    kind: DebrisKind
    shape: str
    height_share: float
    floor: Floor


MADE = (
    Made(
        "pearl-barley.toml", DebrisKind("pearl barley", (216, 200, 168), (3.0, 4.0), None, 1.9), "round", 0.6,
        Floor("plain", (92, 88, 84)),
    ),
    Made(
        "buckwheat.toml", DebrisKind("buckwheat", (90, 64, 48), (3.2, 4.4), None, 1.6), "irregular", 0.7,
        Floor("plain"),
    ),
)  # fmt: skip


def spec_of(made: Made, number: int) -> SceneSpec:
    """The scene of one portion; grains may lie over one another."""
    grams, heaped = PORTIONS[number]
    return SceneSpec(
        patch=PATCH,
        portions=(Portion(made.kind, grams=grams, shape=made.shape, height_share=made.height_share),),
        floor=made.floor,
        scatter=Strewing(clumps=3, clumped_share=heaped, clump_mm=25.0, single_layer=False),
        camera=CAMERA,
        passes=(),
        blank=False,
        seed=number + 1,
    )


def learn(made: Made, folder: Path) -> PortionCalibration:
    """Simulate the portions, weigh them to 0.01 g and a thousand grains to 0.1 g, and learn from their photos."""
    given, masses, grains = [], 0.0, 0
    for number in range(len(PORTIONS)):
        scene = make_scene(spec_of(made, number))
        photo = folder / f"{Path(made.file).stem}-{number + 1}.jpg"
        photo.write_bytes(scene.jpegs["before"])
        true = scene.truth.amounts(0)["patch"]
        assert true.mass_g is not None  # drawn with an area mass
        given.append(f"{photo}={true.mass_g:.2f}")
        masses, grains = masses + true.mass_g, grains + true.grains
    thousand = Quantity(round(1000 * masses / grains, 1), 0.1 / 6**0.5)
    kind = replace(made.kind, area_mass_mg_per_mm2=None)
    remark = (
        f"Photos and weights are simulated ({made.shape} grains drawn with {made.kind.area_mass_mg_per_mm2:g} mg per mm² "
        f"of silhouette, on a plain floor); nothing real was weighed."
    )
    return calibrate(PATCH, kind, given, thousand_g=thousand, date=DATE, remark=remark)


def main() -> int:
    """Make, print and write."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--out", type=Path, help="folder for the files; without it nothing is written")
    options = parser.parse_args()
    for made in MADE:
        with tempfile.TemporaryDirectory() as folder:
            found = learn(made, Path(folder))
        print(f"{made.kind.name}: drawn with {made.kind.area_mass_mg_per_mm2:g} mg per mm² of silhouette")
        print(calibration_text(found))
        if options.out is not None:
            write_calibration(found, options.out / made.file, overwrite=True)
    return 0


if __name__ == "__main__":
    sys.exit(main())
