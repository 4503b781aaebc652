"""May a figure be trusted that is called sound? Every photo set of known truth, by what its figures are called.

    python tests/benchmarks/trust.py [FOLDER]...

Prints what share of pickups is called sound, doubtful and not measurable, and of the sound ones the share within 1.5
points of the truth and the share whose 95 % interval holds it; for the patch and for its zones. Exits with 1 if a bar
is missed.
"""

import argparse
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import debriscount
from debriscount.errors import DebriscountError
from debriscount.run.records import Measurement

if TYPE_CHECKING:
    from tests.benchmarks.scenes import ABSENT, Scene, load_scenes, photos_folder
    from tests.benchmarks.truth import INSIDE, pickup_percent, true_amounts
else:  # run as a script, this folder is where Python looks first
    from scenes import ABSENT, Scene, load_scenes, photos_folder
    from truth import INSIDE, pickup_percent, true_amounts

#: How far a figure that is called sound may be off, percentage points.
NEAR = 1.5
#: Least shares, percent, of the patch's figures: called sound, and of these near and held by their interval.
BARS = {"sound": 60.0, f"sound: within {NEAR:g} points": 95.0, "sound: in the interval": 95.0}
REFUSED = "refused"


@dataclass(frozen=True, slots=True)
class Called:
    """A pickup: what it is called, what it is, and what it should be, percent; None where it is not given."""

    scene: str
    number: int
    zone: str
    trust: str
    percent: float | None
    interval95: tuple[float, float] | None
    true_percent: float

    @property
    def near(self) -> bool:
        """Whether it lies near the truth."""
        return self.percent is not None and abs(self.percent - self.true_percent) <= NEAR

    @property
    def held(self) -> bool:
        """Whether its interval holds the truth."""
        if self.interval95 is None:
            return False
        return self.interval95[0] - 1e-6 <= self.true_percent <= self.interval95[1] + 1e-6


def called(scene: Scene, measurement: Measurement | None) -> list[Called]:
    """Every pickup of a scene whose truth is known; without a measurement all are refused."""
    before = {zone: a.area_mm2 for zone, a in true_amounts(scene.particles, 0).items()}
    found = []
    for number in range(1, len(scene.afters) + 1):
        after = {zone: a.area_mm2 for zone, a in true_amounts(scene.particles, number).items()}
        for zone, true in pickup_percent(before, after).items():
            if true is None:
                continue
            if measurement is None:
                found.append(Called(scene.name, number, zone, REFUSED, None, None, true))
                continue
            one = measurement.passes[number - 1].zones[zone]
            found.append(Called(scene.name, number, zone, one.trust, one.pickup_percent, one.interval95, true))
    return found


def trust_table(figures: Sequence[Called]) -> dict[str, float | None]:
    """Shares in percent by what figures are called, and how right the sound ones are; None of none."""
    sound = [f for f in figures if f.trust == "sound"]

    def share(some: int, of: int) -> float | None:
        return 100 * some / of if of else None

    words = ("sound", "doubtful", "not measurable", REFUSED)
    return {
        **{word: share(sum(f.trust == word for f in figures), len(figures)) for word in words},
        f"sound: within {NEAR:g} points": share(sum(f.near for f in sound), len(sound)),
        "sound: in the interval": share(sum(f.held for f in sound), len(sound)),
    }


def missed(table: dict[str, float | None]) -> list[str]:
    """Lines below their bar; one without a value is not missed."""
    return [line for line, bar in BARS.items() if (value := table[line]) is not None and value < bar]


def print_tables(title: str, figures: Sequence[Called]) -> list[str]:
    """Print patch and zones beside each other and every sound figure that is off; return the patch's missed lines."""
    groups = {zones: [f for f in figures if f.zone in zones] for zones in (("patch",), ("open",), INSIDE[1:])}
    tables = [trust_table(group) for group in groups.values()]
    late = missed(tables[0])
    counts = "".join(f"{f'{name} ({len(group)})':>20}" for name, group in zip(
        ("patch", "open", "edge, corner"), groups.values(), strict=True
    ))  # fmt: skip
    print(f"\n{title:<30}{counts}{'bar':>6}")
    for line in tables[0]:
        cells = "".join(f"{'-' if t[line] is None else f'{t[line]:.0f} %':>20}" for t in tables)
        print(f"{line:<30}{cells}{BARS.get(line, ''):>6}{'  MISSED' if line in late else ''}")
    for f in figures:
        if f.trust == "sound" and not (f.near and f.held):
            low, high = f.interval95 or (float("nan"),) * 2
            print(
                f"  off: {f.scene} {f.number} {f.zone}: {f.percent:.2f} ({low:.2f} to {high:.2f}), {f.true_percent:.2f}"
            )
    return late


def main(argv: Sequence[str] | None = None) -> int:
    """Run the benchmark; the exit code."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument(
        "folders", nargs="*", type=Path, help="of photo sets; else the shared ones and those of all sorts"
    )
    folders: list[Path] = parser.parse_args(argv).folders
    if not folders:
        shared = photos_folder()
        if shared is None:
            print(ABSENT)
            return 0
        folders = [shared, shared / "wide"]
    late = []
    for folder in folders:
        figures = []
        for scene in load_scenes(folder):
            try:
                measurement = debriscount.measure(
                    scene.patch, scene.before, scene.afters, blank=scene.blank, debris=scene.debris
                )
            except DebriscountError:
                measurement = None
            found = called(scene, measurement)
            figures += found
            print(f"{scene.name}: {', '.join(f.trust for f in found if f.zone == 'patch')}", flush=True)
        late += print_tables(folder.name, figures)
    return 1 if late else 0


if __name__ == "__main__":
    sys.exit(main())
