"""Scores on floors that nobody tuned to: how near, how honest, how often nothing could be told."""

import math
from collections.abc import Mapping, Sequence
from statistics import median
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from tests.benchmarks.scores import COUNTABLE_PX, FEW_GRAINS, SceneScore
else:  # run as a script, this folder is where Python looks first
    from scores import COUNTABLE_PX, FEW_GRAINS, SceneScore

#: At most this much, for each line of the table; errors as in `scores.BARS`.
BARS: dict[str, float] = {
    "sets refused or patches not told": 2,
    "patch by area, median": 0.4,
    "patch by area, 90 %": 1.5,
    "patch by area, worst": 4.0,
    "edge and corner, median": 1.0,
    "edge and corner, 90 %": 4.0,
    "half width of the patch's interval, median": 1.5,
    "misses by more than a width": 0,
    "counts, median": 2.0,
    "counts, 90 %": 6.0,
    "untouched share, median": 3.0,
    "untouched share, 90 %": 8.0,
}
#: Shares of 95 % intervals that hold the truth must lie between these, percent.
HELD: dict[str, tuple[float, float]] = {"intervals that hold, patch": (92, 98), "intervals that hold, zones": (92, 98)}
#: By how much the plain script may be nearer before it is called so, points.
NEARER = 0.0


def floor_table(scores: Sequence[SceneScore], peers: Sequence[SceneScore] = ()) -> dict[str, float | None]:
    """Lines of the table by name; None where nothing bears on a line."""
    zones = [z for score in scores for z in score.zones]
    patches, parts = [z for z in zones if z.zone == "patch"], [z for z in zones if z.zone != "patch"]
    walls = [z for z in parts if z.zone != "open" and z.true_grains >= FEW_GRAINS]
    counts = [
        100 * abs(shot.grains / shot.true_grains - 1)
        for score in scores
        if score.grain_px >= COUNTABLE_PX
        for shot in score.shots
        if shot.true_grains >= FEW_GRAINS and shot.grains_told
    ]
    table: dict[str, float | None] = {
        "sets refused or patches not told": float(
            sum(score.failure is not None for score in scores)
            + len({s.scene for s in scores for z in s.zones if z.zone == "patch" and z.area is None})
        )
    }
    lines = {
        "patch by area": [abs(z.area_error) for z in patches if z.area is not None and z.area_error is not None],
        "edge and corner": [abs(z.area_error) for z in walls if z.area is not None and z.area_error is not None],
        "counts": counts,
        "untouched share": [
            abs(measured - true) for s in scores for measured, true in s.untouched if measured is not None
        ],
    }
    for line, errors in lines.items():
        table[f"{line}, median"] = median(errors) if errors else None
        table[f"{line}, 90 %"] = _quantile(errors, 0.9)
        table[f"{line}, worst"] = max(errors, default=None)
    for name, members in (("patch", patches), ("zones", parts)):
        held = [z.held for z in members if z.held is not None]
        table[f"intervals that hold, {name}"] = 100 * sum(held) / len(held) if held else None
        low, high = share_interval(sum(held), len(held))
        table[f"intervals that hold, {name}: truly from"], table[f"intervals that hold, {name}: truly to"] = low, high
    half = [(z.interval95[1] - z.interval95[0]) / 2 for z in patches if z.interval95 is not None]
    table["half width of the patch's interval, median"] = median(half) if half else None
    table["misses by more than a width"] = float(sum(z.missed_by > 1 for z in zones))
    table["counts not told, %"] = _share([not shot.grains_told for s in scores for shot in s.shots])
    if peers:
        table |= _against(scores, peers)
    return table


def _against(scores: Sequence[SceneScore], peers: Sequence[SceneScore]) -> dict[str, float | None]:
    """How often the plain script is not nearer to the patch's truth, percent, and by how much at worst, points."""
    ahead = [
        abs(a.area_error) - abs(b.area_error)
        for score, peer in zip(scores, peers, strict=True)
        for a, b in zip(score.zones, peer.zones, strict=False)
        if a.zone == "patch" and a.area is not None and a.area_error is not None and b.area_error is not None
    ]
    return {
        "nearer than the plain script, %": _share([d <= NEARER for d in ahead]),
        "farther than the plain script by, worst": max([0.0, *ahead]),
    }


def share_interval(held: int, count: int) -> tuple[float | None, float | None]:
    """95 % interval of a share, percent: exact, after Clopper and Pearson, Biometrika 26 (1934) 404, as scipy has it."""
    if not count:
        return None, None
    from scipy.stats import binomtest

    found = binomtest(held, count).proportion_ci(method="exact")
    return 100 * float(found.low), 100 * float(found.high)


def missed(table: Mapping[str, float | None]) -> list[str]:
    """Lines that miss their bar."""
    beyond = [line for line, bar in BARS.items() if (value := table[line]) is not None and value > bar]
    return beyond + [
        line for line, (low, high) in HELD.items() if (value := table[line]) is not None and not low <= value <= high
    ]


def _share(flags: Sequence[bool]) -> float | None:
    return 100 * sum(flags) / len(flags) if flags else None


def _quantile(values: Sequence[float], share: float) -> float | None:
    """By linear interpolation between order statistics (Hyndman and Fan's definition 7)."""
    if not values:
        return None
    ordered = sorted(values)
    place = share * (len(ordered) - 1)
    low = math.floor(place)
    high = min(low + 1, len(ordered) - 1)
    return ordered[low] + (place - low) * (ordered[high] - ordered[low])
