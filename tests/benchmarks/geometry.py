"""Markers, places on the floor and the check of shots, beside exact truth, on simulated photos.

    python tests/benchmarks/geometry.py [--part NAME]... [--runs N] [--first 0] [--json FILE]

places      grains found less their true places, hand-held at 0.2 mm a pixel, no lens file
alignment   the same grains in two shots of textured floors, from the runs of *places*
markers     markers found in tilted and blurred photos
false       markers seen in photos without any
time        `debriscount shot` as a process of its own, 12 megapixels
verdict     does a run whose shots are called fit measure within the accuracy wanted?

Exits with 1 if a bar is missed.
"""

import argparse
import json
import math
import sys
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from tests.benchmarks import geometry_markers, geometry_places, geometry_shots
else:  # run as a script, this folder is where Python looks first
    import geometry_markers
    import geometry_places
    import geometry_shots

#: Parts and how often each is run; *alignment* rests on the runs of *places*.
RUNS = {"places": 12, "alignment": 12, "markers": 200, "false": 1000, "time": 9, "verdict": 36}

#: Lines of the summary that must not be above a figure, and those that must not be below one.
AT_MOST = {
    "places: runs failed": 0.0,
    "places: error, median, mm": 0.15,
    "places: error, 95th percentile, mm": 0.5,
    "alignment: same grain in both shots, median, mm": 0.1,
    "false: markers seen": 0.0,
    "time: shot of 12 megapixels, median, s": 0.8,
}
AT_LEAST = {
    "markers: shots with all found, %": 99.5,
    "verdict: within the accuracy wanted, of those called fit, %": 95.0,
}

_RUNNERS: dict[str, Callable[[int], Any]] = {
    "places": geometry_places.place_run,
    "markers": geometry_markers.marker_run,
    "false": geometry_markers.false_run,
    "verdict": geometry_shots.verdict_run,
}
_PRINTERS: dict[str, Callable[[Any], None]] = {
    "places": geometry_places.print_places,
    "alignment": geometry_places.print_alignment,
    "markers": geometry_markers.print_markers,
    "false": geometry_markers.print_false,
    "time": geometry_shots.print_time,
    "verdict": geometry_shots.print_verdicts,
}
_SUMMARIES: dict[str, Callable[[Any], dict[str, float | None]]] = {
    "places": geometry_places.summarise_places,
    "alignment": geometry_places.summarise_alignment,
    "markers": geometry_markers.summarise_markers,
    "false": geometry_markers.summarise_false,
    "time": geometry_shots.summarise_time,
    "verdict": geometry_shots.summarise_verdicts,
}


def run_parts(parts: Sequence[str], runs: int | None, first: int) -> dict[str, Any]:
    """Run the parts chosen; rows by part."""
    rows: dict[str, Any] = {}
    for part in parts:
        number = RUNS[part] if runs is None else runs
        if part == "time":
            rows[part] = geometry_shots.time_run(number)
            continue
        runner = "places" if part == "alignment" else part
        if runner in rows:
            rows[part] = rows[runner]
            continue
        with ProcessPoolExecutor() as pool:
            chunk = max(1, number // 50)
            rows[part] = list(pool.map(_RUNNERS[runner], range(first, first + number), chunksize=chunk))
    return rows


def missed_bars(summary: Mapping[str, float | None]) -> list[str]:
    """Lines that miss their bar; one without a value misses it as well."""
    missed = [line for line, bar in AT_MOST.items() if line in summary and not _known(summary[line], math.inf) <= bar]
    return missed + [
        line for line, bar in AT_LEAST.items() if line in summary and not _known(summary[line], -math.inf) >= bar
    ]


def _known(value: float | None, otherwise: float) -> float:
    return otherwise if value is None or math.isnan(value) else value


def print_summary(summary: Mapping[str, float | None]) -> list[str]:
    """Print every line of the summary beside its bar; return the lines that miss theirs."""
    missed = missed_bars(summary)
    print(f"\n{'summary':<64}{'value':>9}{'bar':>9}")
    for line, value in summary.items():
        bar = f"<= {AT_MOST[line]:g}" if line in AT_MOST else f">= {AT_LEAST[line]:g}" if line in AT_LEAST else ""
        shown = "-" if value is None else f"{value:.3f}"
        print(f"{line:<64}{shown:>9}{bar:>9}" + ("   MISSED" if line in missed else ""))
    return missed


def plain(value: Any) -> Any:
    """Turn rows into what JSON holds: what is infinite or not a number becomes null."""
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if isinstance(value, Mapping):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [plain(item) for item in value]
    return plain(asdict(value)) if hasattr(value, "__dataclass_fields__") else value


def _arguments(argv: Sequence[str] | None) -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--part", action="append", choices=list(RUNS), help="only this one; may be repeated")
    usual = ", ".join(f"{part} {number}" for part, number in RUNS.items())
    parser.add_argument("--runs", type=int, metavar="N", help=f"scenes, pictures or times of each part ({usual})")
    parser.add_argument("--first", type=int, default=0, metavar="SEED", help="seed of the first scene")
    parser.add_argument("--json", type=Path, metavar="FILE", help="write all figures into a file")
    return parser.parse_args(argv)


def main(argv: Sequence[str] | None = None) -> int:
    """Run the benchmark; the exit code."""
    options = _arguments(argv)
    parts = [part for part in RUNS if part in (options.part or RUNS)]
    rows = run_parts(parts, options.runs, options.first)
    summary: dict[str, float | None] = {}
    for part in parts:
        _PRINTERS[part](rows[part])
        summary |= _SUMMARIES[part](rows[part])
    missed = print_summary(summary)
    if options.json:
        record = plain({"parts": rows, "summary": summary})
        options.json.write_text(json.dumps(record, indent=1, allow_nan=False) + "\n", encoding="utf-8")
    return 1 if missed else 0


if __name__ == "__main__":
    sys.exit(main())
