"""Writers killed before each change of a folder and at moments by chance, and two at once; for `hostile.py`."""

import hashlib
import json
import os
import random
import signal
import statistics
import sys
import tempfile
import time
import traceback
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING
from unittest.mock import patch as patched

if TYPE_CHECKING:
    from tests.inputs.killed_writer import die_before
else:  # run as a script, this folder is where Python looks first
    sys.path.append(str(Path(__file__).parents[1] / "inputs"))
    from killed_writer import die_before

State = dict[str, str]
Write = Callable[[Path, int], object]
#: How a writer ends that was killed: by its own hand, or by ours.
DEATHS = (9, -signal.SIGKILL)
#: How often a writer is timed; what is usual counts.
_TIMED = 5


@dataclass(frozen=True)
class Writer:
    """Writes one of two contents, told by a number, below a folder.

    ``record`` is how the name ends of the file by which several are known to be there; "" where there is but one file,
    which must not be missing for a moment. ``once`` writes into an empty folder alone.
    """

    write: Write
    record: str = ""
    once: bool = False


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
        except BaseException:
            traceback.print_exc()
        finally:
            os._exit(code)
    return pid


def writers() -> dict[str, Writer]:
    """Every writer, by name. Photos are measured and pictures drawn once: what is killed is the writing."""
    from debriscount.flags import Flag
    from debriscount.inputs.lens import CameraLens
    from debriscount.inputs.lens_file import write_lens
    from debriscount.inputs.patch_write import patch_toml
    from debriscount.inputs.save import save_files
    from debriscount.report.agreement import compare_runs, write_agreement
    from debriscount.report.count import write_counts
    from debriscount.report.write import write_measurement
    from debriscount.run.count import count
    from debriscount.run.measure import measure
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
        many = [compare_runs([_weighed(Path(folder) / f"{n}", n)])[0] for n in (0, 1)]
    noted = [replace(run, flags=(Flag(code="numbered", severity="note", sentence=str(n)),)) for n in (0, 1)]
    counts = [[replace(counted, warnings=(str(n),))] * (1 + n) for n in (0, 1)]
    lens = CameraLens(
        name="a",
        size_px=(4000, 3000),
        focal_px=(3000.0, 3000.0),
        center_px=(2000.0, 1500.0),
        radial=(0.1, 0.0, 0.0),
        tangential=(0.0, 0.0),
        focal_length_mm=None,
        calibration=None,
    )
    text = patch_toml(scene.spec.patch)
    pages = [f"markers-{n}.svg" for n in range(1, 4)]

    def save_text(name: str, out: Path, n: int) -> None:
        save_files({out / name: f"# {n}\n{text}".encode()}, overwrite=True)

    def save_pages(out: Path, n: int) -> None:
        save_files({out / page: f"{page} {n}".encode() * 9999 for page in pages}, overwrite=True)

    return {
        "measurement": Writer(
            _drawn("write", [partial(write_measurement, each) for each in noted]), "measurement.json"
        ),
        "count": Writer(_drawn("count", [partial(write_counts, each) for each in counts]), "count.json"),
        "agreement": Writer(_drawn("agreement", [partial(write_agreement, each) for each in many]), "agreement.json"),
        "sheet": Writer(save_pages, "-1.svg"),
        "scene": Writer(lambda out, _: write_scene(scene, out / "scene"), ".jpg", once=True),
        "lens": Writer(lambda out, n: write_lens(replace(lens, name=f"lens {n}"), out / "lens.toml")),
        "patch": Writer(partial(save_text, "patch.toml")),
        "weighing": Writer(partial(save_text, "weighing.toml")),
        "debris": Writer(partial(save_text, "debris.toml")),
    }


def _weighed(folder: Path, number: int) -> Path:
    """The record of a weighed run that never was."""
    agreement = {"photo_percent": 83.1 + number, "photo_u": 0.4, "scale_percent": 82.9, "scale_u": 0.3, "causes": []}
    record = {"format": "debriscount/measurement/1", "photos": {"before": {"taken": None}}, "agreement": agreement}
    folder.mkdir()
    (folder / "measurement.json").write_text(json.dumps(record), encoding="utf-8")
    return folder


def _drawn(module: str, writes: list[Callable[[Path], object]]) -> Write:
    """A writer of results whose files are made beforehand."""
    from debriscount.report.folder import ResultFiles, write_files

    made: list[ResultFiles] = []
    with patched(f"debriscount.report.{module}.write_files", lambda files, *_, **__: made.append(files)):
        for write in writes:
            write(Path())
    made = [
        replace(files, contents={name: partial(bytes, make()) for name, make in files.contents.items()})
        for files in made
    ]
    return lambda out, n: write_files(made[n], out / "run")


class Trial:
    """A writer, what it leaves when nothing disturbs it, and folders to try it in."""

    def __init__(self, writer: Writer, folder: Path) -> None:
        self._writer, self._folder, self._count = writer, folder, 0
        self.told: Counter[str] = Counter()
        home = self.new_home(False)
        writer.write(home, 0)
        self.first = state_of(home)
        if not writer.once:
            writer.write(home, 1)
        self.second = state_of(home)
        #: Of two at once, either may come last.
        self.ends = (self.first, self.second)

    def new_home(self, earlier: bool) -> Path:
        """Make a folder, with an earlier result in it or without."""
        home = self._folder / str(self._count)
        self._count += 1
        home.mkdir()
        if earlier:
            self._writer.write(home, 0)
        return home

    def start(self, home: Path, number: int = 1) -> int:
        """Start the writer in a process of its own."""
        return in_child(partial(self._writer.write, home, number))

    def start_and_die(self, home: Path, change: int) -> int:
        """Start the writer in a process that dies before its change of that number."""

        def write_and_die() -> None:
            die_before(change)
            self._writer.write(home, 1)

        return in_child(write_and_die)

    def look(self, home: Path, pid: int, earlier: bool) -> None:
        """Wait for a writer, and note whether what it leaves is old or new, and whole."""
        ended = os.waitstatus_to_exitcode(os.waitpid(pid, 0)[1])
        self.told["killed" if ended in DEATHS else "done before" if ended == 0 else "failed"] += 1
        allowed = (self.first if earlier else {}, self.second)
        self.told["not whole"] += not is_whole(home, allowed, self._writer.record)

    def write_again(self, home: Path) -> None:
        """Note whether the next writer leaves its result alone."""
        if not (self._writer.once and state_of(home) == self.second):
            self._writer.write(home, 1)
        self.told["left behind"] += state_of(home) != self.second

    def takes_s(self, earlier: bool) -> float:
        """How long it usually writes, in a process of its own."""
        times = []
        for _ in range(_TIMED):
            home = self.new_home(earlier)
            start = time.perf_counter()
            os.waitpid(self.start(home), 0)
            times.append(time.perf_counter() - start)
        return statistics.median(times)


def is_whole(home: Path, allowed: tuple[State, ...], record: str) -> bool:
    """Whether a folder is one of the states as it lies, or has no record that would say that a result is there."""
    found = {name: sum_ for name, sum_ in state_of(home).items() if ".part" not in name}
    found = {name: sum_ for name, sum_ in found.items() if sum_ or name in {n for state in allowed for n in state}}
    return found in allowed or (bool(record) and not any(name.endswith(record) for name in found))


def killed_at_changes(writer: Writer) -> Counter[str]:
    """Kill a writer before each of its changes of a folder, over nothing and over an earlier result."""
    with tempfile.TemporaryDirectory() as name:
        trial = Trial(writer, Path(name))
        before = 0
        for earlier in (False, True)[: 1 if writer.once else 2]:
            number, reached = 0, True
            while reached:
                home = trial.new_home(earlier)
                trial.look(home, trial.start_and_die(home, number), earlier)
                trial.write_again(home)
                number += 1
                reached = trial.told["killed"] == number + before
            before = trial.told["killed"]
        return trial.told


def killed_at_random(writer: Writer, count: int) -> Counter[str]:
    """Kill a writer at moments by chance, half of the time over an earlier result; every third time the next one too."""
    chance = random.Random(1)
    with tempfile.TemporaryDirectory() as name:
        trial = Trial(writer, Path(name))
        takes_s = [trial.takes_s(False), 0.0 if writer.once else trial.takes_s(True)]
        while trial.told["killed"] < count:
            earlier = not writer.once and chance.random() < 0.5
            home = trial.new_home(earlier)
            for _ in range(1 + (not writer.once and chance.random() < 1 / 3)):
                pid = trial.start(home)
                time.sleep(chance.uniform(0, 1.1 * takes_s[earlier]))
                os.kill(pid, signal.SIGKILL)
                trial.look(home, pid, earlier)
            trial.write_again(home)
        return trial.told


def two_at_once(writer: Writer, count: int) -> Counter[str]:
    """Have two writers put different results into one folder at once; of every third pair one is killed on the way."""
    chance = random.Random(2)
    with tempfile.TemporaryDirectory() as name:
        trial = Trial(writer, Path(name))
        takes_s = trial.takes_s(True)
        for number in range(count):
            home = trial.new_home(number % 2 == 0)
            pids = []
            for n in chance.sample((0, 1), 2):
                pids.append(trial.start(home, n))
                time.sleep(chance.uniform(0, 0.5 * takes_s))
            trial.told["pairs"] += 1
            if number % 3 == 0:
                os.kill(pids[0], signal.SIGKILL)
                trial.told["of them with one killed"] += 1
            ends = [os.waitstatus_to_exitcode(os.waitpid(pid, 0)[1]) for pid in pids]
            trial.told["failed"] += any(end not in (0, *DEATHS) for end in ends)
            found = {path: sum_ for path, sum_ in state_of(home).items() if ends[0] == 0 or ".part" not in path}
            trial.told["mixed"] += found not in trial.ends
            trial.write_again(home)
        return trial.told
