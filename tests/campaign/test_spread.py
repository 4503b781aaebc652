"""Runs measured by several processes at once; that they are at work together, two runs show that wait for each other."""

import os
import time
from collections.abc import Callable, Mapping
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import pytest

from debriscount import cluster
from debriscount.campaign.add_run import add_run, new_run
from debriscount.campaign.campaign_file import read_campaign
from debriscount.campaign.next_run import next_choice
from debriscount.campaign.read_runs import read_runs
from debriscount.campaign.records import FiledRun, RunSources
from debriscount.campaign.remeasure import Spread, remeasure
from debriscount.campaign.spread import ways_to_spread
from debriscount.errors import ClusterError, MissingLibraryError
from debriscount.report.filed import result_files

needs_dask = pytest.mark.skipif(
    find_spec("distributed") is None, reason='dask.distributed is not installed (pip install "debriscount[cluster]")'
)
# What the library and its own libraries warn of is no fault of ours.
quiet_dask = pytest.mark.filterwarnings("ignore")


@pytest.fixture(name="three")
def _three(add: Callable[..., FiledRun], home: Path) -> Path:
    for number in (1, 2, 3):
        add(number)
    return home


def waiting(home: Path, meet: bool) -> Callable[..., Mapping[str, bytes]]:
    """A stand-in for measuring, as a closure: other processes do not find this module.

    With ``meet``, runs 1 and 2 end only once the other has begun; run 3 fails.
    """
    begun = home.parent

    def measured(sources: RunSources, progress: object = None) -> dict[str, bytes]:
        from debriscount.errors import PhotoUnfitError

        number = int(sources.patch.parent.name)
        (begun / f"begun-{number}").write_text(str(os.getpid()))
        if number == 3:
            raise PhotoUnfitError("no markers")
        until = time.monotonic() + 60
        while meet and not (begun / f"begun-{3 - number}").exists():
            if time.monotonic() > until:
                raise PhotoUnfitError("the other run was not begun meanwhile")
            time.sleep(0.01)
        return {"measurement.json": (sources.patch.parent / "measurement.json").read_bytes().replace(b"80.0", b"81.0")}

    return measured


def check_anew(home: Path, spread: Spread, *, meet: bool = True) -> None:
    done = remeasure(home, (), waiting(home, meet), spread, everything=True)
    assert [(one.run, one.fault) for one in done.runs] == [(1, ""), (2, ""), (3, "no markers")]
    figures = [run.figures.passes[0].zones["patch"].pickup_percent for run in read_runs(home).runs]
    assert figures == [81.0, 81.0, 80.0]
    pids = {(home.parent / f"begun-{number}").read_text() for number in (1, 2)}
    assert len(pids) == (2 if meet else 1)
    assert str(os.getpid()) not in pids


@needs_dask
@quiet_dask
def test_two_workers_of_a_passing_cluster_are_at_work_at_once(three: Path) -> None:
    with ways_to_spread(2) as spread:
        check_anew(three, spread)


@needs_dask
@quiet_dask
def test_a_lasting_cluster_is_used_by_its_address(three: Path) -> None:
    from distributed import LocalCluster

    with (
        LocalCluster(n_workers=1, threads_per_worker=1, dashboard_address=None, silence_logs=50) as cluster,
        ways_to_spread(None, cluster.scheduler_address) as spread,
    ):
        check_anew(three, spread, meet=False)


def test_without_dask_plain_processes_do_it_and_an_address_is_refused(
    home: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(cluster, "find_spec", lambda _: None)
    campaign, weighing = read_campaign(home), tmp_path / "weighing.toml"
    weighing.write_text("[scale]\n[dispensed]\nportion_g = 20\n[bin]\nbefore_g = 310\nafter_g = 327\n")
    for _ in range(3):
        new = new_run(home, campaign, next_choice(campaign, (), machine="A"), {}, weighing)
        add_run(home, campaign, new, {}, (), result_files)
    with ways_to_spread(2) as spread:
        done = remeasure(home, (), result_files, spread, everything=True)
    assert [(one.run, one.fault) for one in done.runs] == [(1, ""), (2, ""), (3, "")]
    with pytest.raises(MissingLibraryError, match=r'needs the extra "cluster".*Without --scheduler, the cores'):
        enter(ways_to_spread(None, "tcp://127.0.0.1:1"))


@needs_dask
@quiet_dask
def test_a_scheduler_that_does_not_answer_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    import distributed

    def refuse(*_: object, **__: object) -> None:
        raise OSError("timed out")

    monkeypatch.setattr(distributed, "Client", refuse)
    with pytest.raises(ClusterError, match=r"--scheduler tcp://10\.0\.0\.9:8786: does not answer \(timed out\)"):
        enter(ways_to_spread(None, "tcp://10.0.0.9:8786"))


def enter(context: Any) -> None:
    with context:
        pass
