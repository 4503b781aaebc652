"""Campaigns under strain: writers killed at random, cores kept busy by measuring anew, and words typed for a run.

python tests/benchmarks/campaign.py [--kills 1000] [--runs 8] [--idle] [--only kills|cores|words]
"""

import argparse
import hashlib
import json
import os
import random
import resource
import shutil
import signal
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from functools import partial
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING
from unittest.mock import patch as patched

if TYPE_CHECKING:
    from tests.benchmarks.hostile_writers import in_child
else:  # run as a script, this folder is where Python looks first
    sys.path.append(str(Path(__file__).parent))
    from hostile_writers import in_child

from debriscount.campaign.add_run import Measured, add_run, new_run, shots_of_inbox
from debriscount.campaign.campaign_file import Campaign, Common, Machine, read_campaign
from debriscount.campaign.campaign_write import make_campaign
from debriscount.campaign.changes import add_note
from debriscount.campaign.next_run import next_choice
from debriscount.campaign.places import INBOX
from debriscount.campaign.read_runs import read_runs
from debriscount.campaign.records import RunSources
from debriscount.campaign.remeasure import Job, RemeasuredRun, Spread

#: Runs of one campaign before a fresh one is made: what is there slows later adding down.
_RUNS_A_CAMPAIGN = 25
#: What is counted of killed writers that is no fault.
_NO_FAULT = ("killed", "done before")
#: Beside the campaign: seconds of each measuring, a line each.
_TIMES = "times.txt"
#: Share of runs and answers after which the writer is let be, so that there is something to lose.
_SPARED = 0.2


def stub(sources: RunSources, progress: object = None) -> Mapping[str, bytes]:
    """Files of a result as measuring makes them, of the usual sizes, in no time."""
    amount = {"area_mm2": 1.0, "grains": 1, "mass_g": None}
    figure = {"pickup_percent": 80.0, "before": amount, "after": amount}
    passes = [{"pass": 1, "zones": {"patch": figure}}]
    record = {"format": "debriscount/measurement/1", "passes": passes}
    pictures = {f"overlay-{shot}.jpg": os.urandom(400_000) for shot in ("before", "after")}
    return {"measurement.json": json.dumps(record).encode(), "zones.csv": b"pass,kind\n", **pictures}


def new_campaign(home: Path) -> None:
    """A campaign of one machine."""
    from debriscount.inputs.patch_write import patch_toml
    from debriscount.layout.lay_patch import lay_patch

    home.mkdir(parents=True)
    patch = home.parent / "bench.toml"
    patch.write_text(patch_toml(lay_patch(300, 200, (), name="bench")), encoding="utf-8")
    make_campaign(home, Campaign(campaign=Common(name="strain"), machines=(Machine(name="A"),)), patch, ())


def put_photos(home: Path, number: int) -> set[str]:
    """Put before and after of a run into the inbox; their SHA-256."""
    from PIL import Image

    sums = set()
    for place, name in enumerate(("before", "after")):
        path = home / INBOX / f"{number}-{name}.png"
        Image.frombytes("RGB", (64, 64), random.Random(2 * number + place).randbytes(64 * 64 * 3)).save(path)
        os.utime(path, (1_700_000_000 + 60 * place,) * 2)
        sums.add(hashlib.sha256(path.read_bytes()).hexdigest())
    return sums


def add_next(home: Path, announce: Callable[[int], object]) -> None:
    """Add a run from the inbox, as ``run add`` does, and tell its number once that would be printed."""
    campaign, runs = read_campaign(home), read_runs(home).runs
    photos = shots_of_inbox(home, campaign, runs, None).photos
    new = new_run(home, campaign, next_choice(campaign, runs), photos, None)
    announce(add_run(home, campaign, new, photos, runs, stub).record.run)


def killed(action: Callable[[Callable[[int], object]], object], after_s: float) -> tuple[list[int], bool]:
    """Run an action in a process that is killed after a while; what it announced, and whether it was killed."""
    out, into = os.pipe()

    def tell(number: int) -> None:
        os.write(into, number.to_bytes(4, "big"))

    pid = in_child(partial(action, tell))
    os.close(into)
    time.sleep(after_s)
    os.kill(pid, signal.SIGKILL)
    ended = os.waitstatus_to_exitcode(os.waitpid(pid, 0)[1])
    told = b"".join(iter(lambda: os.read(out, 4096), b""))
    os.close(out)
    return [int.from_bytes(told[k : k + 4], "big") for k in range(0, len(told), 4)], ended == -signal.SIGKILL


def takes_s(action: Callable[[], object]) -> float:
    """How long an action takes at least in a process of its own: a busy machine must not make all kills come late."""
    times = []
    for _ in range(5):
        start = time.perf_counter()
        os.waitpid(in_child(action), 0)
        times.append(time.perf_counter() - start)
    return min(times)


def run_add_killed(count: int) -> Counter[str]:
    """Kill ``run add`` at random moments, and look after each what is there and whether later commands work."""
    chance, told = random.Random(3), Counter[str]()
    with tempfile.TemporaryDirectory() as name:
        round_, number = 0, 0
        home = Path(name) / "0"
        new_campaign(home)

        def once() -> None:
            put_photos(home, time.time_ns())
            add_next(home, lambda _: None)

        usual_s = takes_s(once)
        announced: dict[int, set[str]] = {}
        while told["killed"] < count:
            number += 1
            if number % _RUNS_A_CAMPAIGN == 0:
                shutil.rmtree(home)
                round_, announced = round_ + 1, {}
                home = Path(name) / f"{round_}"
                new_campaign(home)
            for path in (home / INBOX).iterdir():
                path.unlink()
            sums = put_photos(home, number)
            said, was_killed = killed(partial(add_next, home), chance.uniform(0, 1.3 * usual_s))
            told["killed"] += was_killed
            told["done before"] += not was_killed
            announced |= dict.fromkeys(said, sums)
            _look(home, sums, announced, told)
            _go_on(home, number, told)
    return told


def _look(home: Path, sums: set[str], announced: dict[int, set[str]], told: Counter[str]) -> None:
    read = read_runs(home)
    told["not whole"] += bool(read.unread)
    filed = {run.record.run: {photo.sha256 for photo in run.record.photos.values()} for run in read.runs}
    told["announced and lost"] += any(filed.get(number) != those for number, those in announced.items())
    for run in read.runs:
        for photo in run.record.photos.values():
            content = (run.folder / photo.file).read_bytes()
            told["photo lost"] += hashlib.sha256(content).hexdigest() != photo.sha256
    left = {hashlib.sha256(path.read_bytes()).hexdigest() for path in (home / INBOX).iterdir()}
    told["photo lost"] += not sums <= left.union(*filed.values())


def _go_on(home: Path, number: int, told: Counter[str]) -> None:
    """The commands that come next: those of the killed run again, a note, and one more run now and then."""
    from debriscount.errors import CampaignError

    try:
        add_next(home, lambda _: None)
    except CampaignError as error:
        told["later failed"] += "no yet" in str(error) or not str(error).startswith("the inbox must hold")
    runs = read_runs(home).runs
    if runs:
        add_note(home, runs[-1].record.run, f"after {number}")
        told["later failed"] += not read_runs(home).runs[-1].record.notes
    told["left behind"] += sum(path.name.endswith(".part") for path in (home / "runs").rglob("*"))


#: Questions of ``weigh`` and what is answered to each: bin and cup, and a sweep by zone.
_ANSWERS = (
    "g",
    "0.1",
    "kitchen",
    "152,3 152,4",
    "102.3",
    "weighed",
    "310.2",
    "351.9",
    "open edge",
    "3.1",
    "4",
    "none",
    "yes",
)


def weigh_killed(count: int) -> Counter[str]:
    """Kill ``weigh`` at random moments: every answer is kept once the next question is put."""
    from debriscount_cli._kept_answers import KeptAnswers
    from debriscount_cli.weigh import weigh

    chance, told = random.Random(4), Counter[str]()
    with tempfile.TemporaryDirectory() as name:
        out = Path(name) / "weighing.toml"

        def answer(tell: Callable[[int], object]) -> None:
            left = iter(_ANSWERS[len(KeptAnswers(out).read()) :])

            def prompt(*_: object, **__: object) -> str:
                tell(len(KeptAnswers(out).read()))
                return next(left)

            with patched("typer.prompt", prompt), patched("typer.echo"), open(os.devnull, "w") as nowhere:  # noqa: PTH123
                os.dup2(nowhere.fileno(), 2)
                weigh(out=out)

        answer(lambda _: None)
        whole = out.read_bytes()
        out.unlink()

        def once() -> None:
            answer(lambda _: None)
            out.unlink()

        usual_s = takes_s(once)
        while told["killed"] < count:
            said, was_killed = killed(answer, chance.uniform(0, 1.3 * usual_s))
            told["killed"] += was_killed
            told["done before"] += not was_killed
            kept = KeptAnswers(out).read()
            done = out.is_file()
            told["not whole"] += done and out.read_bytes() != whole
            told["answers lost"] += not done and len(kept) < max(said, default=0)
            if done or chance.random() < _SPARED:
                if not done:
                    os.waitpid(in_child(partial(answer, lambda _: None)), 0)
                told["later failed"] += not out.is_file() or out.read_bytes() != whole
                out.unlink(missing_ok=True)
                KeptAnswers(out).clear()
    return told


def timed_files(sources: RunSources, progress: object = None) -> Mapping[str, bytes]:
    """Measure a run, and note how long that took: on a busy machine, the cores that it got say little."""
    from debriscount.report.filed import result_files

    return _timed(sources, result_files)


def timed_idle(sources: RunSources, progress: object = None) -> Mapping[str, bytes]:
    """Stand in for measuring where the cores belong to others: what spreading the work costs shows all the same."""

    def idle(sources: RunSources) -> Mapping[str, bytes]:
        time.sleep(2)
        return stub(sources)

    return _timed(sources, idle)


def _timed(sources: RunSources, make: Callable[[RunSources], Mapping[str, bytes]]) -> Mapping[str, bytes]:
    start = time.perf_counter()
    made = make(sources)
    with (sources.patch.parents[3] / _TIMES).open("a", encoding="utf-8") as file:
        file.write(f"{time.perf_counter() - start}\n")
    return made


def cores_busy(runs: int, measured: Measured) -> Iterator[str]:
    """Measure the runs of a campaign anew, and tell how much of two cores that took."""
    from debriscount.at_once import usable_cores
    from debriscount.campaign.remeasure import remeasure
    from debriscount.campaign.spread import _by_processes
    from debriscount.demo import SCENES
    from debriscount.inputs.debris_names import find_debris
    from debriscount.shipped import shipped_folder

    scene = shipped_folder("debriscount._reference", "reference_images") / SCENES[0]
    with tempfile.TemporaryDirectory() as name:
        home = Path(name) / "campaign"
        campaign = Campaign(campaign=Common(name="cores", debris=("red-lentils",)), machines=(Machine(name="A"),))
        make_campaign(home, campaign, scene / "patch.toml", (find_debris("red-lentils"),))
        for number in range(runs):
            _copied(home, scene, number)
        times: dict[str, float] = {}

        def timed(how: str, spread: Spread) -> str:
            (home.parent / _TIMES).unlink(missing_ok=True)
            before, start = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter()
            done = remeasure(home, (), measured, spread, everything=True, from_start=True)
            times[how] = time.perf_counter() - start
            after = resource.getrusage(resource.RUSAGE_CHILDREN)
            cpu = (after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime) / times[how]
            at_work = sum(map(float, (home.parent / _TIMES).read_text().split())) / times[how]
            failed = [one.fault for one in done.runs if one.fault]
            return (
                f"{how}: {len(done.runs)} runs in {times[how]:.1f} s, {at_work:.2f} at work at once on average,"
                f" {cpu:.2f} cores by the system's count, failed: {failed or 'none'}"
            )

        count = min(2, usable_cores())
        yield timed(f"{count} processes", lambda work, jobs: _by_processes(work, jobs, count))
        if find_spec("distributed") is None:
            yield "Dask: not tried, since dask.distributed is not installed (extra cluster)"
            return
        for workers in (1, 2):
            yield timed(f"Dask with {workers}", _dask(workers))
        yield f"two Dask workers are {times['Dask with 1'] / times['Dask with 2']:.2f} times as fast as one"


def _dask(workers: int) -> Spread:
    def spread(work: Callable[[Job], RemeasuredRun], jobs: Sequence[Job]) -> Iterator[RemeasuredRun]:
        from distributed import Client, LocalCluster

        from debriscount.campaign.spread import _by_dask

        options = {"threads_per_worker": 1, "dashboard_address": None, "memory_limit": 0, "silence_logs": 50}
        with LocalCluster(n_workers=workers, **options) as cluster, Client(cluster, set_as_default=False) as client:
            yield from _by_dask(client, work, jobs)

    return spread


def _copied(home: Path, scene: Path, number: int) -> None:
    """Add a run of a demo's photos, made others by a comment in their files."""
    for shot in ("before", "after"):
        content = (scene / f"{shot}.jpg").read_bytes()
        remark = f"{number} {shot}".encode()
        path = home / INBOX / f"{number}-{shot}.jpg"
        path.write_bytes(content[:2] + b"\xff\xfe" + (len(remark) + 2).to_bytes(2, "big") + remark + content[2:])
        os.utime(path, (1_700_000_000 + 60 * number + 30 * (shot == "after"),) * 2)
    add_next(home, lambda _: None)


def words_typed() -> Iterator[str]:
    """Tell what is typed for a run once a campaign is set up; Enter is no word."""
    for what, typed in {
        "the next planned run, or one like the last": ("debriscount run add", ""),
        "one with another machine": ("debriscount run add", "B", ""),
        "one with another brush": ("debriscount run add", "brush=bristle", ""),
    }.items():
        yield f"{what}: {len(' '.join(typed).split())} words"


def main() -> None:
    """Run what is asked for, and print it."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--kills", type=int, default=1000)
    parser.add_argument("--runs", type=int, default=8)
    parser.add_argument("--idle", action="store_true", help="stand in for measuring by waiting two seconds")
    parser.add_argument("--only", choices=("kills", "cores", "words"))
    options = parser.parse_args()
    missed = False
    if options.only in (None, "kills"):
        for what, tried in (("run add", run_add_killed), ("weigh", weigh_killed)):
            told = tried(options.kills // 2)
            print(f"{what}: " + ", ".join(f"{name} {number}" for name, number in sorted(told.items())), flush=True)
            missed |= any(number for name, number in told.items() if name not in _NO_FAULT)
    if options.only in (None, "words"):
        print("\n".join(words_typed()), flush=True)
    if options.only in (None, "cores"):
        for line in cores_busy(options.runs, timed_idle if options.idle else timed_files):
            print(line, flush=True)
    sys.exit(missed)


if __name__ == "__main__":
    main()
