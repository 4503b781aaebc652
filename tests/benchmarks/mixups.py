"""Mix up runs in every way that happens, and print what becomes of each.

A run is refused, told of in the first line or only in a note below, silent, or a crash.
"""

import argparse
import re
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import debriscount
from debriscount.errors import DebriscountError
from debriscount.report.verdict import verdict_text

if TYPE_CHECKING:
    from tests.benchmarks.mixup_cases import CASES, NOTHING, Case
    from tests.benchmarks.mixup_kit import Kit, Run
    from tests.benchmarks.scenes import ABSENT, Scene, load_scenes, photos_folder
    from tests.benchmarks.truth import pickup_percent, true_amounts
else:  # run as a script, this folder is where Python looks first
    from mixup_cases import CASES, NOTHING, Case
    from mixup_kit import Kit, Run
    from scenes import ABSENT, Scene, load_scenes, photos_folder
    from truth import pickup_percent, true_amounts

#: Points by which a silent figure may be off, and off farther than that of the right run.
SILENT = 1.0
#: Sets for every day: coarse and fine debris, one kind and two, one pass and two, with and without a blank.
FEW = (
    "lentils-oak-corner", "rice-checker-blank-030", "mixed-tile-edge", "crumbs-white-vinyl-corner",
    "pea-parquet-blank-029", "rice-two-pass-oblique", "lentils-carpet", "sand-dark-laminate",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Outcome:
    """What became of one run; ``error`` is that of the patch in its worst pass, points, None where none was given."""

    what: str
    error: float | None
    words: str


def outcome(kit: Kit, case: Case, run: Run) -> Outcome:
    """Measure a run and say what came of it."""
    try:
        measured = debriscount.measure(
            run.patch,
            run.shots["before"],
            run.afters,
            blank=run.shots.get("blank"),
            debris=run.debris,
            lens=run.lens,
        )
    except DebriscountError as fault:
        fits = re.search(case.said, str(fault), re.IGNORECASE)
        return Outcome("refused" if fits or case.said == NOTHING else "refused?", None, str(fault))
    except Exception as fault:  # a crash is what is looked for
        return Outcome("CRASH", None, f"{type(fault).__name__}: {fault}")
    truth = [true_amounts(kit.scene.particles, number) for number in range(len(kit.scene.afters) + 1)]
    areas = [{zone: a.area_mm2 for zone, a in shot.items()} for shot in truth]
    errors = []
    for number, figures in enumerate(measured.passes[: len(areas) - 1], start=1):
        pickup, true = figures.zones["patch"].pickup_percent, pickup_percent(areas[0], areas[number])["patch"]
        if pickup is not None and true is not None:
            errors.append(pickup - true)
    error = max(errors, key=abs) if errors else None
    flags = [f"{f.severity} {f.code}: {f.sentence}" for f in measured.flags if f.severity != "note"]
    words = [*flags, *measured.warnings]
    fitting = [w for w in words if re.search(case.said, w, re.IGNORECASE)]
    first = verdict_text(measured)
    untold = [z for z in measured.passes if z.zones["patch"].pickup_percent is None]
    if fitting:
        return Outcome("noted" if first.endswith(": sound.") else "told", error, " | ".join([first, *fitting]))
    if any(flags):
        return Outcome("told?", error, " | ".join(words))
    return Outcome("untold" if untold else "silent", error, " | ".join(words))


def run_set(scene: Scene, half: bool, only: str | None) -> dict[str, Outcome]:
    """All mix-ups of one set."""
    found = {}
    with tempfile.TemporaryDirectory() as folder:
        kit = Kit(scene, Path(folder), half)
        for case in CASES:
            if only and not re.search(only, case.name):
                continue
            run = case.make(kit)
            if run is None:
                continue
            start = time.perf_counter()
            one = found[case.name] = outcome(kit, case, run)
            print(
                f"  {case.name:<32}{one.what:<9}{'' if one.error is None else format(one.error, '+8.2f'):>9}"
                f"{time.perf_counter() - start:6.1f} s  {one.words[:300]}",
                flush=True,
            )
    return found


def bad(one: Outcome, right: Outcome | None) -> bool:
    """Whether a run is wrong, by more than the right run is, and its first line does not say so."""
    if one.what not in ("silent", "noted") or one.error is None:
        return False
    own = abs(right.error) if right is not None and right.error is not None else 0.0
    return abs(one.error) > max(SILENT, own + SILENT / 2)


def print_table(results: dict[str, dict[str, Outcome]]) -> int:
    """Print mix-up by set; the number of silent errors and crashes."""
    names = list(results)
    print("\n" + f"{'mix-up':<34}" + "".join(f"{name[:17]:>18}" for name in names))
    silent = crashes = 0
    counts: Counter[str] = Counter()
    for case in CASES:
        row = [results[name].get(case.name) for name in names]
        if not any(row):
            continue
        cells = []
        for name, one in zip(names, row, strict=True):
            if one is None:
                cells.append("-")
                continue
            wrong = case.said != NOTHING and bad(one, results[name].get("right"))
            silent += wrong
            crashes += one.what == "CRASH"
            if case.said != NOTHING:
                counts["silent and wrong" if wrong else one.what] += 1
            cells.append(one.what + ("" if one.error is None else f" {one.error:+.1f}") + ("!" if wrong else ""))
        print(f"{case.name:<34}" + "".join(f"{cell:>18}" for cell in cells))
    print("\n" + ", ".join(f"{what} {count}" for what, count in counts.most_common()))
    right = [case.name for case in CASES if case.said == NOTHING]
    rights = [results[name][case] for name in names for case in right if case in results[name]]
    wrongly = [one for one in rights if one.what.startswith(("refused", "told"))]
    print(f"silent with an error above {SILENT:g} point: {silent}; crashes: {crashes}")
    print(f"right runs refused or flagged: {len(wrongly)} of {len(rights)}")
    return silent + crashes


def main(argv: Sequence[str] | None = None) -> int:
    """Run the benchmark; the exit code."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sets", type=int, default=4, help="how many of the sets for every day")
    parser.add_argument("--all", action="store_true", help="all sets")
    parser.add_argument("--scene", help="sets whose name matches this")
    parser.add_argument("--half", action="store_true", help="photos half as wide and high")
    parser.add_argument("--only", metavar="WORDS", help="mix-ups whose name matches this")
    options = parser.parse_args(argv)
    folder = photos_folder()
    if folder is None:
        print(ABSENT)
        return 0
    scenes = [*load_scenes(folder), *load_scenes(folder / "wide")]
    if options.scene:
        scenes = [scene for scene in scenes if re.search(options.scene, scene.name)]
    elif not options.all:
        scenes = sorted((s for s in scenes if s.name in FEW[: options.sets]), key=lambda s: FEW.index(s.name))
    results = {}
    for scene in scenes:
        print(scene.name, flush=True)
        results[scene.name] = run_set(scene, options.half, options.only)
    return 1 if print_table(results) else 0


if __name__ == "__main__":
    sys.exit(main())
