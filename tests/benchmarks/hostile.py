"""Nothing lost, nothing let in: damaged files, killed writers, two writers at once, names that command a terminal.

Exits 1 where anything ends other than in our own words, takes more than the bars allow, or is lost. Linux alone.
"""

import argparse
import signal
import subprocess
import sys
import tempfile
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from tests.benchmarks.hostile_files import TEXT
    from tests.benchmarks.hostile_writers import killed_at_changes, killed_at_random, two_at_once, writers
else:  # run as a script, this folder is where Python looks first
    from hostile_files import TEXT
    from hostile_writers import killed_at_changes, killed_at_random, two_at_once, writers

FORMATS = ("JPEG", "HEIC", "AVIF", "PNG", "TIFF 8", "TIFF 16", "WebP", "GIF", "BMP", "DNG")
#: What must not be told of writers.
LOST = ("not whole", "mixed", "left behind", "failed")
BAR_MIB, BAR_SECONDS = 1024.0, 20.0
#: Without a line for so long, a process hangs.
HANGS_S = 60.0
#: Clears the screen, sets a title, turns writing round, ends the line; and a byte that is no UTF-8.
HOSTILE = "a\x1b[2J\x1b]0;t\x07\u202egpj\x9b\r\n\u2028\udcff"


@dataclass
class Endings:
    """How the files of one kind ended, and the most that one of them took."""

    ended: Counter[str] = field(default_factory=Counter)
    most_mib: float = 0.0
    most_seconds: float = 0.0

    @property
    def held(self) -> bool:
        """Whether all ended in our own words, within the bars."""
        ours = set(self.ended) <= {"read", "refused"}
        return ours and self.most_mib <= BAR_MIB and self.most_seconds <= BAR_SECONDS


def read_files(kind: str, count: int) -> Endings:
    """Have ``count`` damaged files of a kind read, and go on behind one that ends the process."""
    endings, first = Endings(), 0
    script = Path(__file__).with_name("hostile_files.py")
    while first < count:
        with subprocess.Popen(
            [sys.executable, str(script), kind, str(first), str(count - first)], stdout=subprocess.PIPE, text=True
        ) as process:
            first = _follow(process, first, endings)
        if first < count:
            endings.ended[f"ended by {-process.returncode}"] += 1
            print(f"{kind} {first}: ended the process ({process.returncode})", file=sys.stderr)
            first += 1
    return endings


def _follow(process: "subprocess.Popen[str]", first: int, endings: Endings) -> int:
    """Note what a process tells of its files; the number of the one after the last."""
    assert process.stdout is not None
    signal.signal(signal.SIGALRM, lambda *_: process.kill())
    signal.setitimer(signal.ITIMER_REAL, HANGS_S)
    for line in process.stdout:
        signal.setitimer(signal.ITIMER_REAL, HANGS_S)
        number, ended, seconds, mib = line.split()
        endings.ended[ended] += 1
        endings.most_seconds = max(endings.most_seconds, float(seconds))
        endings.most_mib = max(endings.most_mib, float(mib))
        first = int(number) + 1
    signal.setitimer(signal.ITIMER_REAL, 0)
    return first


def terminal() -> Counter[str]:
    """Give commands names that would command a terminal, and look for control characters in what they print."""
    told: Counter[str] = Counter()
    with tempfile.TemporaryDirectory() as name:
        file = Path(name) / HOSTILE
        file.write_text('[patch]\n"\\u001b[31m\\u202e" = 1\n', encoding="utf-8")
        argument = str(file)
        for line in (
            ["markers", "--patch", argument, "--out", f"{name}/a.pdf"],
            ["measure", "--patch", argument, "--out", f"{name}/{HOSTILE}out", argument, argument],
            ["count", argument, "--mm-per-px", "0.1"],
            ["agreement", argument],
            ["weigh", "show", argument],
            ["patch", "new", "--yes", "--name", HOSTILE, "--out", f"{name}/b.toml"],
            ["patch", "new", "--yes", "--out", f"{name}/{HOSTILE}.toml"],
            [argument],
            [f"--{HOSTILE}"],
        ):
            done = subprocess.run([sys.executable, "-m", "debriscount_cli", *line], capture_output=True, check=False)
            printed = (done.stdout + done.stderr).decode(errors="replace")
            told["commands"] += 1
            told["with control characters"] += any(
                c != "\n" and (ord(c) < 32 or 127 <= ord(c) < 160 or c in "\u202e\u2028") for c in printed
            )
            told["with tracebacks"] += "Traceback" in printed
    return told


def _row(name: str, told: Mapping[str, int], bad: tuple[str, ...]) -> bool:
    held = not any(told.get(word) for word in bad)
    counts = ", ".join(f"{count} {word}" for word, count in told.items())
    print(f"{name:<24}{counts}{'' if held else '  <- missed'}", flush=True)
    return held


def main(argv: list[str] | None = None) -> int:
    """Run what is asked for; 1 where a bar is missed."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true", help="a twentieth of everything")
    parser.add_argument("--photos", type=int, default=500, help="damaged files of each format")
    parser.add_argument("--texts", type=int, default=10_000, help="damaged text files")
    parser.add_argument("--kills", type=int, default=1000, help="kills of writers at moments by chance")
    parser.add_argument("--pairs", type=int, default=500, help="pairs of writers at once")
    options = parser.parse_args(argv)
    share = 20 if options.quick else 1
    if not sys.platform.startswith("linux"):
        print("skipped: memory and kills are watched as Linux has them")
        return 0
    held = True
    for kind, count in [*((kind, options.photos // share) for kind in FORMATS), (TEXT, options.texts // share)]:
        endings = read_files(kind, count)
        held &= endings.held
        print(
            f"{kind:<24}{dict(endings.ended)}, most {endings.most_mib:.0f} MiB, {endings.most_seconds:.2f} s"
            f"{'' if endings.held else '  <- missed'}",
            flush=True,
        )
    if options.kills // share or options.pairs // share:
        made = writers()
        several = {name: writer for name, writer in made.items() if writer.record and not writer.once}
        for name, writer in made.items():
            held &= _row(f"{name}, each change", killed_at_changes(writer), LOST)
            kills = -(-options.kills // share // len(made))
            held &= _row(f"{name}, by chance", killed_at_random(writer, kills), LOST)
        for name, writer in several.items():
            pairs = -(-options.pairs // share // len(several))
            held &= _row(f"{name}, two at once", two_at_once(writer, pairs), LOST)
    return 0 if _row("terminal", terminal(), ("with control characters", "with tracebacks")) and held else 1


if __name__ == "__main__":
    sys.exit(main())
