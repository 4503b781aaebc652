"""Lanes, reach and gaps from grains' true fates, a few of them misjudged: no photos, so that a minute tells much.

    python tests/benchmarks/true_fates.py [--runs 20] [--first 0] [--wrong 1.5] [--fine]

The machines are those of `leftovers.py`: ``--runs`` in lanes and as many that leave no strips. ``--wrong`` percent of the
grains are taken for stayed that were moved, and the other way round; with ``--fine`` fates are estimates instead, whose
mean alone is right. Prints a line a run and one for each figure; there are no bars.
"""

import argparse
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from debriscount.grains.table import GrainTable
from debriscount.leftovers.lanes.find import find_lanes
from debriscount.leftovers.reach.find import find_reach
from debriscount.leftovers.reach.sites import gather_sites
from debriscount.leftovers.reach.survival import learn_survival
from debriscount.leftovers.records import Fates
from debriscount.leftovers.walls.find import find_walls
from debriscount.simulate.truth import SceneTruth, draw_truth

if TYPE_CHECKING:
    from tests.benchmarks.leftovers import free_spec, lanes_spec
else:  # run as a script, this folder is where Python looks first
    from leftovers import free_spec, lanes_spec

#: Standard deviation of a share stayed that is an estimate.
FINE_NOISE = 0.5


@dataclass(frozen=True)
class Case:
    """Errors of one run; None where a figure is not given, or there is nothing to be off from."""

    name: str
    lanes: tuple[float, float, float] | None
    seen: bool
    strips: bool
    reach: float
    held: bool
    gaps: tuple[float | None, ...]
    gap_mm: float


def true_fates(truth: SceneTruth, rng: np.random.Generator, wrong: float, fine: bool) -> Fates:
    """What became of the grains in the first pass, as far as it is judged rightly."""
    tables = []
    for state in (0, 1):
        lying = truth.lying[state]
        x, y = truth.places_mm[state][lying].T
        area, kind = truth.grains.area_mm2[lying], truth.grains.kind[lying]
        tables.append(GrainTable(kind, x, y, area, truth.zone_codes(state)[lying]))
    moved = (truth.places_mm[0] != truth.places_mm[1]).any(axis=1) | ~truth.lying[1]
    shares = []
    for state in (0, 1):
        still = (~moved[truth.lying[state]]).astype(float)
        odd = rng.random(len(still)) < wrong
        shares.append(still + rng.normal(0, FINE_NOISE, len(still)) if fine else np.where(odd, 1 - still, still))
    kinds = len(truth.kinds)
    return Fates(
        earlier=tables[0],
        later=tables[1],
        stayed=shares[0],
        untouched=shares[1],
        matched=(not fine,) * kinds,
        least_shift_mm=(0.3,) * kinds,
        u_untouched_percent=(1.0,) * kinds,
        chance_percent=(0.0,) * kinds,
    )


def tried(what: str, seed: int, wrong: float, fine: bool) -> Case | None:
    """One run; None where too few grains tell."""
    spec = lanes_spec(seed) if what == "lanes" else free_spec(seed)
    truth, (cleaning,) = draw_truth(spec), spec.passes
    fates = true_fates(truth, np.random.default_rng([9, seed]), wrong, fine)
    survival = learn_survival(gather_sites(fates, spec.patch), spec.patch)
    if survival is None:
        return None
    said = survival.of_grains(fates)
    pickups = {zone: (value, None) for zone, value in truth.pickup_percent(1).items()}
    whole = find_reach(survival, fates, spec.patch, pickups).zones["patch"]
    lanes = find_lanes(said, fates, spec.patch)
    width = cleaning.pitch_mm - cleaning.width_mm
    errors = None
    if lanes is not None:
        turned = abs((lanes.heading_deg - cleaning.heading_deg + 90) % 180 - 90)
        pitch = np.nan if lanes.pitch_mm is None else abs(100 * (lanes.pitch_mm / cleaning.pitch_mm - 1))
        errors = (turned, float(pitch), abs(lanes.strip_mm - width))
    reached = float(truth.reached_percent(1)["patch"] or 0.0)
    low, high = whole.interval95 or (np.nan, np.nan)
    return Case(
        name=f"{what}-{seed:03d}",
        lanes=errors,
        seen=lanes is not None,
        strips=cleaning.path == "lanes" and width >= 8.0,
        reach=float((whole.share_percent or 0.0) - reached),
        held=bool(low <= reached <= high),
        gaps=tuple(profile.gap_mm for profile in find_walls(said, fates, spec.patch).walls),
        gap_mm=cleaning.wall_gap_mm,
    )


def print_figures(cases: Sequence[Case]) -> None:
    """A line for each figure."""
    wide, none = [c for c in cases if c.strips], [c for c in cases if not c.strips and c.name.startswith("free")]
    off = np.array([c.lanes for c in wide if c.lanes is not None]).reshape(-1, 3)
    print(
        f"lanes with strips of 8 mm and more: seen {len(off)} of {len(wide)}, falsely {sum(c.seen for c in none)} of {len(none)}"
    )
    if len(off):
        print(
            f"heading, pitch, strip: median {np.nanmedian(off, axis=0).round(2)} deg, %, mm; worst {np.nanmax(off, axis=0).round(2)}"
        )
    reach = np.array([c.reach for c in cases])
    held = 100 * np.mean([c.held for c in cases])
    print(
        f"reach: median error {np.median(abs(reach)):.2f}, worst {abs(reach).max():.1f} points; intervals hold {held:.0f} %"
    )
    gaps = [(c.gap_mm, gap) for c in cases for gap in c.gaps]
    there = [abs(gap - true) for true, gap in gaps if true > 0 and gap is not None]
    false = [gap for true, gap in gaps if true == 0 and gap is not None]
    middle = f", median error {np.median(there):.2f} mm" if there else ""
    print(
        f"gaps: found {len(there)} of {sum(true > 0 for true, _ in gaps)}{middle}; falsely {len(false)} of {sum(true == 0 for true, _ in gaps)}"
    )


def main(argv: Sequence[str] | None = None) -> int:
    """Run the benchmark."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--runs", type=int, default=20)
    parser.add_argument("--first", type=int, default=0, help="first seed")
    parser.add_argument("--wrong", type=float, default=1.5, metavar="PERCENT")
    parser.add_argument("--fine", action="store_true")
    options = parser.parse_args(argv)
    cases = []
    for seed in range(options.first, options.first + options.runs):
        for what in ("lanes", "free"):
            case = tried(what, seed, options.wrong / 100, options.fine)
            if case is not None:
                cases.append(case)
                print(
                    f"{case.name}  lanes {case.lanes}  reach {case.reach:+.1f}  gaps {case.gaps} of {case.gap_mm:g} mm",
                    flush=True,
                )
    print_figures(cases)
    return 0


if __name__ == "__main__":
    sys.exit(main())
