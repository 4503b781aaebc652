"""Nothing lost, nothing let in: damaged files, killed writers, two writers at once, names that command a terminal.

Exits 1 where anything ends other than in our own words, takes more than the bars allow, or is lost. Linux alone.
"""

import argparse
import hashlib
import os
import random
import signal
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from tests.benchmarks.hostile_files import TEXT
    from tests.inputs.killed_writer import die_before
else:  # run as a script, this folder is where Python looks first
    sys.path.append(str(Path(__file__).parents[1] / "inputs"))
    from hostile_files import TEXT
    from killed_writer import die_before

FORMATS = ("JPEG", "HEIC", "AVIF", "PNG", "TIFF 8", "TIFF 16", "WebP", "GIF", "BMP", "DNG")
BAR_MIB, BAR_SECONDS = 1024.0, 20.0
#: Without a line for so long, a process hangs.
HANGS_S = 60.0
#: Clears the screen, sets a title, turns writing round, ends the line; and a byte that is no UTF-8.
HOSTILE = "a\x1b[2J\x1b]0;t\x07\u202egpj\x9b\r\n\u2028\udcff"
State = dict[str, str]
Write = Callable[[Path, int], object]


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


def state_of(folder: Path) -> State:
    """Digest of every file under a folder, by its path; folders that are empty too."""
    return {
        path.relative_to(folder).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest() if path.is_file() else ""
        for path in folder.rglob("*")
        if path.is_file() or not any(path.iterdir())
    }


def in_child(action: Callable[[], object]) -> int:
    """Start an action in a process forked from this one; its id."""
    pid = os.fork()
    if pid == 0:
        code = 1
        try:
            action()
            code = 0
        finally:
            os._exit(code)
    return pid


def writers() -> dict[str, Write]:
    """Every writer of several files or of one, by name; a number tells which of two contents it writes."""
    from debriscount.figures.count import count
    from debriscount.figures.run import measure
    from debriscount.flags import Flag
    from debriscount.inputs.lens import CameraLens
    from debriscount.inputs.lens_file import write_lens
    from debriscount.inputs.save import save_files
    from debriscount.report import write_counts, write_measurement
    from debriscount.simulate.options import scene_spec
    from debriscount.simulate.scene import make_scene
    from debriscount.simulate.write import write_scene

    scene = make_scene(scene_spec(patch_mm="300x200", megapixels=0.8, load_percent=2))
    with tempfile.TemporaryDirectory() as folder:
        files = Path(folder) / "scene"
        write_scene(scene, files)
        patch, before, after = files / "patch.toml", files / "before.jpg", files / "after.jpg"
        debris = sorted(set(files.glob("*.toml")) - {patch})
        run = measure(patch, before, [after], debris=debris)
        counted = count(before, patch=patch, debris=debris)
    lens = CameraLens("a", (4000, 3000), (3000.0, 3000.0), (2000.0, 1500.0), (0.1, 0.0, 0.0), (0.0, 0.0), None, None)

    def noted(n: int) -> Any:
        return replace(run, flags=(Flag(code="numbered", severity="note", sentence=str(n)),))

    pages = [f"markers-{n}.svg" for n in range(1, 4)]
    return {
        "measurement": lambda out, n: write_measurement(noted(n), out / "run"),
        "count": lambda out, n: write_counts([replace(counted, warnings=(str(n),))] * (1 + n % 2), out / "run"),
        "sheet": lambda out, n: save_files({out / p: f"{p} {n}".encode() * 999 for p in pages}, overwrite=True),
        "lens": lambda out, n: write_lens(replace(lens, name=f"lens {n}"), out / "lens.toml"),
        "scene": lambda out, _: None if (out / "scene" / "truth.json").exists() else write_scene(scene, out / "scene"),
    }


def states(write: Write, folder: Path) -> tuple[State, State]:
    """What is there after the first write, and after the second over it."""
    home = folder / "states"
    home.mkdir()
    write(home, 0)
    first = state_of(home)
    write(home, 1)
    return first, state_of(home)


def is_whole(home: Path, allowed: tuple[State, ...]) -> bool:
    """Whether a folder is one of the states as it lies, or has no record that would say that a result is there."""
    found = {name: sum_ for name, sum_ in state_of(home).items() if ".part" not in name}
    return found in allowed or not any(name.endswith((".json", "-1.svg")) for name in found)


def _write_and_die(write: Write, home: Path, number: int) -> None:
    die_before(number)
    write(home, 1)


def killed_at_changes(write: Write) -> Counter[str]:
    """Kill a writer before each of its changes of a folder, over nothing and over an earlier result."""
    told: Counter[str] = Counter()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        first, second = states(write, folder)
        for earlier in (False, True):
            number, reached = 0, True
            while reached:
                home = folder / f"{earlier}-{number}"
                home.mkdir()
                if earlier:
                    write(home, 0)
                pid = in_child(partial(_write_and_die, write, home, number))
                reached = os.waitstatus_to_exitcode(os.waitpid(pid, 0)[1]) == 9
                _judge(told, write, home, (first if earlier else {}, second))
                number += 1
    return told


def killed_at_random(write: Write, count: int) -> Counter[str]:
    """Kill a writer at moments by chance, over an earlier result."""
    told: Counter[str] = Counter()
    chance = random.Random(1)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        first, second = states(write, folder)
        (folder / "timed").mkdir()
        write(folder / "timed", 0)
        start = time.perf_counter()
        os.waitpid(in_child(lambda: write(folder / "timed", 1)), 0)
        takes_s = time.perf_counter() - start
        for number in range(count):
            home = folder / str(number)
            home.mkdir()
            write(home, 0)
            pid = in_child(partial(write, home, 1))
            time.sleep(chance.uniform(0, 1.1 * takes_s))
            os.kill(pid, signal.SIGKILL)
            os.waitpid(pid, 0)
            _judge(told, write, home, (first, second))
    return told


def _judge(told: Counter[str], write: Write, home: Path, allowed: tuple[State, ...]) -> None:
    told["killed"] += 1
    told["not whole"] += not is_whole(home, allowed)
    write(home, 1)
    told["left behind"] += state_of(home) != allowed[-1]


def two_at_once(write: Write, count: int) -> Counter[str]:
    """Have two writers put different results into one folder at once."""
    told: Counter[str] = Counter()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        ends = []
        for which in (0, 1):
            (folder / f"end{which}").mkdir()
            write(folder / f"end{which}", which)
            ends.append(state_of(folder / f"end{which}"))
        for number in range(count):
            home = folder / str(number)
            home.mkdir()
            for pid in [in_child(partial(write, home, n)) for n in (0, 1)]:
                told["failed"] += os.waitstatus_to_exitcode(os.waitpid(pid, 0)[1]) != 0
            told["pairs"] += 1
            told["mixed"] += state_of(home) not in ends
    return told


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
    print(f"{name:<24}{', '.join(f'{count} {word}' for word, count in told.items())}{'' if held else '  <- missed'}")
    return held


def main(argv: list[str] | None = None) -> int:
    """Run what is asked for; 1 where a bar is missed."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true", help="a twentieth of everything")
    parser.add_argument("--photos", type=int, default=500, help="damaged files of each format")
    parser.add_argument("--texts", type=int, default=10_000, help="damaged text files")
    parser.add_argument("--kills", type=int, default=100, help="kills of each writer at moments by chance")
    parser.add_argument("--pairs", type=int, default=100, help="pairs of writers at once")
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
        made: Mapping[str, Any] = writers()
        for name, write in made.items():
            held &= _row(f"{name}, each change", killed_at_changes(write), ("not whole", "left behind"))
            held &= _row(
                f"{name}, by chance", killed_at_random(write, options.kills // share), ("not whole", "left behind")
            )
        for name in ("measurement", "count", "sheet"):
            held &= _row(f"{name}, two at once", two_at_once(made[name], options.pairs // share), ("mixed", "failed"))
    return 0 if _row("terminal", terminal(), ("with control characters", "with tracebacks")) and held else 1


if __name__ == "__main__":
    sys.exit(main())
