"""Mass from the photo: area mass and grain mass learned from other scenes, errors against the truth.

Every shot of a photo set counts as a weighed portion of each kind in it, its mass being that of the grains drawn. What
`debriscount.portions` learns from the shots of *other* scenes (all of the kind), from simulated portions where there is
no other scene, and from *before* of the same scene is applied to each shot; beside it counts times the grain mass that
the debris file has. Exits 1 when masses learned from other scenes, or pickups, miss their bar; kinds of which there is
no other scene are shown only, since simulated light is not the scenes'.
"""

import argparse
import json
import sys
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from statistics import median
from typing import TYPE_CHECKING

import numpy as np

import debriscount
from debriscount.grains.table import GrainTable
from debriscount.inputs.debris import DebrisKind
from debriscount.layout.lay_patch import lay_patch
from debriscount.pickup.clumps import K95
from debriscount.pickup.masses import CARRY
from debriscount.pickup.records import Amount
from debriscount.portions.crowding import cell_covers, portion_area_mm2
from debriscount.portions.fit import fit_area_mass, fit_grain_mass
from debriscount.portions.photos import portion_shot
from debriscount.portions.records import PortionShot, WeighedPortion
from debriscount.portions.weights import u_from_line_mg
from debriscount.simulate.scene import make_scene
from debriscount.simulate.spec import Camera, Floor, Portion, SceneSpec
from debriscount.stats.quantity import Quantity
from debriscount.stats.regression import weighted_mean

if TYPE_CHECKING:
    from tests.benchmarks.scenes import ABSENT, Scene, load_scenes, photos_folder
    from tests.benchmarks.truth import pickup_percent, true_amounts
else:  # run as a script, this folder is where Python looks first
    from scenes import ABSENT, Scene, load_scenes, photos_folder
    from truth import pickup_percent, true_amounts

#: Relative error of a mass, percent; error of pickup by mass, points.
BARS = {"mass, median": 3.0, "mass, worst": 8.0, "pickup, median": 0.6, "pickup, worst": 2.0}
#: Readings of a scale of 0.01 g.
U_SCALE_G = 0.004
#: Floors like those of the scenes that have no other of their kind, and the form of their grains: what a person would
#: lay portions on who has no photo of the test itself.
LIKE = {
    "crumb": (Floor("plain", (236, 234, 229)), "irregular", 0.8),
    "flake": (Floor("planks"), "round", 0.15),
    "sand": (Floor("planks", (62, 52, 46)), "irregular", 0.8),
}
COVERS = (0.02, 0.04, 0.06)
#: Half the width of the scenes' patches, at the same scale.
SIMULATED_MM, SIMULATED_MEGAPIXELS = (300.0, 200.0), 2.2


@dataclass(frozen=True, slots=True, eq=False)
class Seen:
    """One kind in one shot: as a portion, and the figures of the measurement; masses in grams."""

    scene: str
    shot: str
    kind: DebrisKind
    portion: WeighedPortion
    single: bool

    @property
    def true_g(self) -> float:
        """Mass of the grains drawn, in the patch."""
        return self.portion.mass_g.value


@dataclass(frozen=True, slots=True)
class Estimate:
    """A mass read off a shot, grams: by area, by counts, by both; None where a way is not open."""

    scene: str
    kind: str
    shot: str
    source: str
    true_g: float
    area_g: float
    count_g: float | None
    both_g: float
    file_g: float | None

    def error(self, way: str) -> float | None:
        """Measured over true less 1, percent."""
        value = getattr(self, f"{way}_g")
        return None if value is None else 100 * (value / self.true_g - 1)


def look(scene: Scene) -> list[Seen]:
    """Measure a scene and take each kind in each shot for a portion."""
    measured = debriscount.measure(scene.patch, scene.before, scene.afters, blank=scene.blank, debris=scene.debris)
    kinds = [debriscount.read_debris(file) for file in scene.debris]
    tables = {shot.name: shot.grains for shot in measured.shots}
    seen = []
    for k, kind in enumerate(kinds):
        amounts = {"before": measured.passes[0].kinds[kind.name]["patch"].before}
        amounts |= {
            shot: p.kinds[kind.name]["patch"].after
            for shot, p in zip(list(scene.shots)[1:], measured.passes, strict=True)
        }
        for number, (shot, amount) in enumerate(amounts.items()):
            true = true_amounts(scene.particles, number, kind.name)["patch"]
            table = tables[shot]
            own = table.take((table.kind == k) & (table.zone >= 0) & (table.zone < 3))  # open, edge, corner
            mass = Quantity(true.mass_mg / 1000, U_SCALE_G)
            countable = kind.size_mm[0] / measured.grid.mm_per_px >= 5 and amount.grains95 is not None
            portion = WeighedPortion(mass, (_shot(scene.name, shot, own, amount, countable),))
            seen.append(Seen(scene.name, shot, kind, portion, len(kinds) == 1))
    return seen


def _shot(scene: str, shot: str, grains: GrainTable, amount: Amount, countable: bool) -> PortionShot:
    cover, cell = cell_covers(grains.x_mm, grains.y_mm, grains.area_mm2)
    low, high = amount.grains95 or (0, 0)
    bare = float(grains.area_mm2.sum()) - amount.area_mm2
    u_bare = float(np.sqrt(2 * max(bare, 0) * np.median(grains.area_mm2)))
    count = amount.grains if countable else None
    return PortionShot(
        file=f"{scene} {shot}",
        sha256="",
        cell_cover=cover,
        cell_mm2=cell,
        bare_mm2=bare,
        u_bare_mm2=u_bare,
        grains=count,
        u_grains=(high - low) / 2 / K95,
    )


def simulated(kind: DebrisKind) -> list[WeighedPortion]:
    """Portions of a kind made up on a floor like its scene's."""
    floor, shape, height = LIKE[kind.name]
    portions = []
    for seed, cover in enumerate(COVERS):
        spec = SceneSpec(
            patch=lay_patch(*SIMULATED_MM, ()),
            portions=(Portion(kind, cover_share=cover, shape=shape, height_share=height),),
            floor=floor,
            camera=Camera(megapixels=SIMULATED_MEGAPIXELS),
            passes=(),
            seed=1000 + seed,
        )
        made = make_scene(spec)
        counted = debriscount.count(made.pixels("before"), patch=spec.patch, blank=made.pixels("blank"), debris=[kind])
        mass = made.truth.amounts(0)["patch"].mass_g or 0.0
        portions.append(WeighedPortion(Quantity(mass, U_SCALE_G), (portion_shot(counted, kind),)))
    return portions


def estimate(seen: Seen, portions: Sequence[WeighedPortion], source: str) -> Estimate:
    """Read a shot's mass off with what portions taught."""
    size, shot = seen.kind.size_mm, seen.portion.shots
    area = fit_area_mass(portions, size)
    seen_mm2 = portion_area_mm2(shot, area.crowding)
    by_area = area.area_mass_mg_per_mm2.value * seen_mm2 / 1000
    u_new = u_from_line_mg(1000 * by_area, 0.0, seen_mm2, shot[0].u_bare_mm2, 1, size)
    u_area = area.fit.predicted([seen_mm2, 0.0][: len(area.fit.coefficients)], u_new).u / 1000
    u_area = float(np.hypot(u_area, (0.0 if source == "own before" else CARRY) * by_area))
    grain = fit_grain_mass(portions, size).counted_mg
    by_count, by_file, both = None, None, by_area
    if grain is not None and shot[0].grains:
        by_count = grain.value * shot[0].grains / 1000
        by_file = (seen.kind.grain_mass_mg or np.nan) * shot[0].grains / 1000
        u_count = by_count * float(np.hypot(grain.u / grain.value, shot[0].u_grains / shot[0].grains))
        both = weighted_mean([Quantity(by_area, u_area), Quantity(by_count, u_count)]).value
    return Estimate(seen.scene, seen.kind.name, seen.shot, source, seen.true_g, by_area, by_count, both, by_file)


def estimates(everything: Sequence[Seen]) -> list[Estimate]:
    """Read every shot's mass off with other scenes' portions or simulated ones, and with its own scene's *before*."""
    made: dict[str, list[WeighedPortion]] = {}
    found = []
    for seen in everything:
        others = [s.portion for s in everything if s.kind.name == seen.kind.name and s.scene != seen.scene]
        if not others and seen.kind.name not in made:
            made[seen.kind.name] = simulated(seen.kind)
        found.append(estimate(seen, others or made[seen.kind.name], "others" if others else "simulated"))
        before = next(s for s in everything if (s.scene, s.kind.name, s.shot) == (seen.scene, seen.kind.name, "before"))
        if seen is not before:
            found.append(estimate(seen, [before.portion], "own before"))
    return found


def carry(everything: Sequence[Seen]) -> dict[str, dict[str, float]]:
    """Area mass by kind and scene as *before* alone teaches it, mg/mm²."""
    table: dict[str, dict[str, float]] = {}
    for seen in everything:
        if seen.shot == "before":
            fit = fit_area_mass([seen.portion], seen.kind.size_mm)
            table.setdefault(seen.kind.name, {})[seen.scene] = fit.area_mass_mg_per_mm2.value
    return table


def pickups(found: Sequence[Estimate], scenes: Sequence[Scene], way: str) -> dict[tuple[str, str, str], float]:
    """Error of the patch's pickup by mass in scenes of one kind, points, keyed by scene, shot and source.

    The margin's gain is left out on both sides.
    """
    errors = {}
    for scene in scenes:
        own = [e for e in found if e.scene == scene.name and e.source != "own before"]
        if len(scene.kinds) > 1 or any(getattr(e, f"{way}_g") is None for e in own):
            continue
        before, *afters = own
        for after in afters:
            seen = pickup_percent({"patch": getattr(before, f"{way}_g")}, {"patch": getattr(after, f"{way}_g")})
            true = pickup_percent({"patch": before.true_g}, {"patch": after.true_g})
            errors[scene.name, after.shot, after.source] = (seen["patch"] or 0.0) - (true["patch"] or 0.0)
    return errors


def print_tables(found: Sequence[Estimate], table: dict[str, dict[str, float]], scenes: Sequence[Scene]) -> None:
    """Print every estimate, area masses by floor, and medians by way and source."""
    print(
        f"{'scene':27}{'kind':8}{'shot':8}{'learned from':13}{'true g':>9}{'area %':>8}{'count %':>9}{'both %':>8}{'file %':>8}"
    )
    for e in found:
        errors = [e.error(way) for way in ("area", "count", "both", "file")]
        cells = ["" if value is None else f"{value:+.1f}" for value in errors]
        print(
            f"{e.scene:27}{e.kind:8}{e.shot:8}{e.source:13}{e.true_g:9.3f}{cells[0]:>8}{cells[1]:>9}{cells[2]:>8}{cells[3]:>8}"
        )
    print("\narea mass by *before* alone, mg/mm²")
    for kind, by_scene in table.items():
        values = np.array(list(by_scene.values()))
        spread = f", spread {100 * values.std(ddof=1) / values.mean():.1f} %" if len(values) > 1 else ""
        print(f"  {kind}: " + ", ".join(f"{scene} {value:.3f}" for scene, value in by_scene.items()) + spread)
    print()
    for way in ("area", "count", "both", "file"):
        for source in ("others", "simulated", "own before"):
            sizes = _sizes([e for e in found if e.source == source], way)
            if sizes:
                print(f"{way:6}{source:11} n {len(sizes):2}  median {median(sizes):5.1f} %  worst {max(sizes):5.1f} %")
        moved = [abs(x) for x in pickups(found, scenes, way).values()]
        if moved:
            print(f"{way:6}pickup      n {len(moved):2}  median {median(moved):5.2f}    worst {max(moved):5.2f} points")


def _sizes(found: Sequence[Estimate], way: str) -> list[float]:
    return [abs(error) for error in (e.error(way) for e in found) if error is not None]


def summary(found: Sequence[Estimate], scenes: Sequence[Scene], way: str) -> dict[str, float]:
    """What the bars are about: masses learned from other scenes, and pickups."""
    errors = _sizes([e for e in found if e.source == "others"], way)
    moved = [abs(x) for x in pickups(found, scenes, way).values()]
    return {
        "mass, median": median(errors),
        "mass, worst": max(errors),
        "pickup, median": median(moved),
        "pickup, worst": max(moved),
    }


def main() -> int:
    """Run and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--json", type=Path)
    options = parser.parse_args()
    folder = photos_folder()
    if folder is None:
        print(ABSENT)
        return 0
    scenes = load_scenes(folder)
    everything = [seen for scene in scenes for seen in look(scene)]
    found = estimates(everything)
    print_tables(found, carry(everything), scenes)
    result = summary(found, scenes, "both")
    missed = [f"{line} {result[line]:.2f} (bar {bar:g})" for line, bar in BARS.items() if result[line] > bar]
    print("\n" + ("missed: " + "; ".join(missed) if missed else "all bars met"))
    if options.json:
        options.json.write_text(json.dumps([asdict(e) for e in found], indent=1), encoding="utf-8")
    return 1 if missed else 0


if __name__ == "__main__":
    sys.exit(main())
