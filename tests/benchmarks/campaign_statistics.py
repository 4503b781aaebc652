"""Whether intervals, verdicts and numbers of runs of simulated campaigns hold what they promise.

    python tests/benchmarks/campaign_statistics.py [CAMPAIGNS]

Runs are drawn with a known mean and spread, and go through `plan_runs` and `compare` as filed runs do. Printed are how
often 95 % intervals of differences hold the truth (bar: 93 to 97 %), how often anything is said to differ where nothing
does (5 % at most), and how often a difference is told against what was planned (within 5 points).
"""

import sys
from collections.abc import Sequence
from pathlib import Path

import numpy as np
from scipy.special import ndtr, stdtrit

from debriscount.campaign.records import Figures, FiledFigure, FiledPass, FiledRun, RunRecord, UsedFile, Versions
from debriscount.compare.compare import Comparison, compare
from debriscount.compare.labels import CampaignRun
from debriscount.plan.runs import ORDERS, Repeatability, plan_runs
from debriscount.stats.proportion import wilson

CAMPAIGNS = 1000
#: Spread of single runs and of the days (blocks) they are made on, points.
SD, BLOCK_SD = 2.0, 3.0


def filed(number: int, machine: str, block: int, pickup: float) -> CampaignRun:
    """A run with one figure."""
    figure = FiledFigure(
        pickup_percent=pickup, more_than_percent=None, interval95=(pickup - 1, pickup + 1), gone_percent=pickup,
        trust="sound", why="", before_mm2=1e4, after_mm2=100 * (100 - pickup), before_g=None, after_g=None,
    )  # fmt: skip
    record = RunRecord(
        format="debriscount/run/1", run=number, when="2026-11-01T10:00:00", machine=machine,
        patch=UsedFile("bench", "patch.toml", ""), debris=(), photos={}, result=UsedFile("m", "measurement.json", ""),
        versions=Versions("0", "0"), block=str(block) if block else "",
    )  # fmt: skip
    figures = Figures(passes=(FiledPass(number=1, zones={"patch": figure}, kinds={}),))
    return CampaignRun(FiledRun(folder=Path(str(number)), record=record, figures=figures), "made up", str(number))


def compared(
    rng: np.random.Generator, means: Sequence[float], counts: Sequence[int], sds: Sequence[float]
) -> Comparison:
    """Runs of each machine one by one, compared."""
    runs = [
        filed(100 * i + j, "ABCDEF"[i], 0, rng.normal(mean, sd))
        for i, (mean, n, sd) in enumerate(zip(means, counts, sds, strict=True))
        for j in range(1, n + 1)
    ]
    return compare(runs, "machine")


def coverage(rng: np.random.Generator, campaigns: int, counts: Sequence[int], sds: Sequence[float]) -> float:
    """Share of intervals of a difference of two machines that hold the truth."""
    held = 0
    for _ in range(campaigns):
        (found,) = compared(rng, (80.0, 76.0), counts, sds).differences
        low, high = found.interval95 or (np.nan, np.nan)
        held += low <= (4.0 if found.first == "A" else -4.0) <= high
    return held / campaigns


def false_alarms(rng: np.random.Generator, campaigns: int, machines: int, n: int) -> float:
    """Share of campaigns in which anything is said to differ where nothing does."""
    alarms = 0
    for _ in range(campaigns):
        found = compared(rng, [80.0] * machines, [n] * machines, [SD] * machines)
        alarms += any(one.told for one in found.differences)
    return alarms / campaigns


def told(
    rng: np.random.Generator, campaigns: int, difference: float, order: str, machines: int
) -> tuple[float, float, float]:
    """How often a planned difference is told, how often that was planned, and how often its interval holds it."""
    plan = plan_runs("machine", "ABCDEF"[:machines], Repeatability(SD, 20), difference, order=order)  # type: ignore[arg-type]
    seen = held = 0
    for _ in range(campaigns):
        days = rng.normal(0, BLOCK_SD if order != "none" else 0.0, plan.each + machines + 1)
        runs = [
            filed(
                test.number, test.level, 0 if order == "none" else test.block,
                rng.normal(80 + difference * (test.level == "A") + days[test.block], SD),
            )
            for test in plan.tests
        ]  # fmt: skip
        found = next(one for one in compare(runs, "machine").differences if {one.first, one.second} == {"A", "B"})
        seen += found.told and found.first == "A"
        low, high = found.interval95 or (np.nan, np.nan)
        held += low <= (difference if found.first == "A" else -difference) <= high
    return seen / campaigns, plan.power, held / campaigns


def exact_coverage(rng: np.random.Generator, counts: Sequence[int], sds: Sequence[float]) -> float:
    """Share of Welch's intervals that hold the truth, of normal runs, by 200,000 draws of the two spreads alone.

    Given those, how often the interval holds follows without chance, so that this scatters by 0.02 points only.
    """
    n, variance = np.asarray(counts, float), np.square(sds)
    seen = variance * rng.chisquare(n - 1, (200_000, 2)) / (n - 1) / n
    dof = seen.sum(axis=1) ** 2 / (seen**2 / (n - 1)).sum(axis=1)
    half = stdtrit(dof, 0.975) * np.sqrt(seen.sum(axis=1))
    return float(np.mean(2 * ndtr(half / np.sqrt((variance / n).sum())) - 1))


def scattered(share: float, campaigns: int) -> tuple[str, float, float]:
    """A share in percent with its own 95 % interval, which so many campaigns leave it."""
    low, high = wilson(share, campaigns)
    return f"{100 * share:.1f} % ({100 * low:.1f} to {100 * high:.1f})", low, high


def main(campaigns: int) -> bool:
    """Print all, and return whether a bar is missed by more than so few campaigns leave open."""
    rng, missed = np.random.default_rng(17), False
    print(f"{campaigns} simulated campaigns each; in brackets, how far these leave a share open (95 %)")
    print("95 % intervals of a difference that hold the truth (93 to 97 %); exactly, for normal runs")
    for counts, sds in (((3, 3), (2, 2)), ((5, 5), (2, 2)), ((3, 5), (1, 3)), ((5, 3), (1, 3)), ((10, 4), (2, 1))):
        said, low, high = scattered(coverage(rng, campaigns, counts, sds), campaigns)
        exactly = 100 * exact_coverage(np.random.default_rng(1), counts, sds)
        print(f"  {counts} runs, spreads {sds}: {said}; exactly {exactly:.1f} %")
        missed |= high < 0.93 or low > 0.97
    print("something said to differ where nothing does (5 % at most)")
    for machines, n in ((2, 3), (3, 3), (3, 5), (5, 4)):
        said, low, _ = scattered(false_alarms(rng, campaigns, machines, n), campaigns)
        print(f"  {machines} machines, {n} runs each: {said}")
        missed |= low > 0.05
    print("differences told, and planned (within 5 points for two machines)")
    for order in ORDERS:
        for difference, machines in ((3.0, 2), (5.0, 2), (7.0, 2), (3.0, 3)):
            seen, planned, held = told(rng, campaigns, difference, order, machines)
            print(
                f"  {difference:g} points, order {order}, {machines} machines: {100 * seen:.1f} % told,"
                f" {100 * planned:.1f} % planned; interval holds {scattered(held, campaigns)[0]}"
            )
            missed |= machines == 2 and abs(seen - planned) > 0.05
    return missed


if __name__ == "__main__":
    sys.exit(main(int(sys.argv[1]) if len(sys.argv) > 1 else CAMPAIGNS))
